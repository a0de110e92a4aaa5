"""`python -m obbligato` is the command line."""

from obbligato.cli import main

main()
