#!/usr/bin/env python
"""Run a command of the site, such as `start`, `demo`, `runserver` or `audit_book`."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farm.settings")
    execute_from_command_line(sys.argv)
