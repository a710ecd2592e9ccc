"""`python -m watershedmap` does what the command `watershedmap` does."""

from watershedmap.cli import main

main()
