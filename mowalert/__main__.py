"""Lets ``python -m mowalert`` run the commands."""

from mowalert.cli import main

main()
