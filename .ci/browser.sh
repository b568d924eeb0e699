#!/usr/bin/env bash
# The browser test alone; `.ci/run` runs it with the other checks.
exec bash "$(dirname "$0")/checks/browser.sh"
