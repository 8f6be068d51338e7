"""How good a survey is: what would not be noticed in it.

- `detectable`: how large an error of each reading must be to be noticed, and what one that is not would do
  to heights.
"""

from __future__ import annotations

from trackkit.survey.quality.detectable import detectable_errors, influence, least_noticed

__all__ = ["detectable_errors", "influence", "least_noticed"]
