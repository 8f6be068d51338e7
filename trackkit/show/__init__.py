"""Pictures: one language on screen, on paper and in lessons. The only place that knows matplotlib.

- `plots`: `draw_side` (axes in, axes out) and `side_view` (the whole figure).
- `pieces`: stacks drawn piece by piece. `style`: every colour, width and hatch.
- `saving`: the same picture as the same bytes.
"""
