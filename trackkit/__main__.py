"""``python -m trackkit`` is the command ``trackkit``."""

from trackkit.cli import main

main()
