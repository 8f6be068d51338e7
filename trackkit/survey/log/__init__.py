"""Logs of a phone on a board: passes, what is cleaned out of them, and the board readings they become."""
