"""How good a survey is: what would not be noticed in it, and how to read it so that slips are.

- `detectable`: how large an error of each reading must be to be noticed, and what one that is not would do
  to heights.
"""

from __future__ import annotations

from trackkit.survey.quality.detectable import detectable_errors, influence, least_noticed
from trackkit.survey.quality.order import reading_order

__all__ = ["detectable_errors", "influence", "least_noticed", "reading_order"]
