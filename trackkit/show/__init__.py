"""Pictures: one language on screen, on paper and in lessons. The only place that knows matplotlib.

- `plots`: `draw_side` (axes in, axes out) and `side_view` (the whole figure).
- `scene`, `pieces`: what there is to draw, in metres; nothing is drawn there.
- `strip`, `ground_body`, `marks`: one rail's strip. `page`: numbers above, signs below.
- `lettering`: words that fit and don't overlap. `style`: every colour, width and hatch.
- `saving`: the same picture as the same bytes, and as a file.
"""
