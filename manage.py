#!/usr/bin/env python
import os
import sys

from django.core.management import execute_from_command_line

# These read and write files only: no database, nobody served, so no secret to ask for.
FILE_COMMANDS = {"forecast", "backtest", "bench"}

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fitting.settings")
    if FILE_COMMANDS.intersection(sys.argv[1:2]):
        os.environ.setdefault("DOORPOST_DEBUG", "1")
    execute_from_command_line(sys.argv)
