"""Pictures, one language on screen, on paper and in lessons: all that knows matplotlib and reportlab.

- `plots` is the list of all pictures: axes in, axes out.
- `side`: the side view, with `scene` and `pieces` (what there is to draw, in metres), `strip`,
  `ground_body`, `marks`, `scales` (one rail's strip) and `page` (numbers above, signs below).
- `above`: the strip from above, with `above_layout`, `above_ground`, `footprints`.
- `bars`: fills, and chances to govern, tie by tie, on `bar_axis`.
- `closeup`: one support, with `closeup_shapes`, `closeup_ground`, `closeup_words`, and `stack_words`, which
  says a stack in words.
- `checks` and `profile`: the readings against the ground, with the `signs` that tell them apart.
- `pen` draws by name, so that the code that draws a picture once is the code that moves it; its words
  (`word`) remember how they were laid out. `lettering`, `room`: words that fit and don't overlap.
- `form`: the booking sheet as a PDF, with `form_blank`, `form_rods`, `form_words`, `form_else`, `form_parts`.
- `style`: every colour, width and hatch. `saving`: the same picture as the same bytes, and as a file.
"""
