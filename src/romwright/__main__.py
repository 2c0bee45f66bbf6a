"""`python -m romwright`."""

from romwright.cli.main import main

main()
