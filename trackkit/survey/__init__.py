"""The survey: readings in, and the ground that they give with its doubt."""
