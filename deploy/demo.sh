#!/usr/bin/env bash
# Shows Tidebed at work on a recorded day: prepares .venv in this clone and runs `tidebed demo`.
# Usage: deploy/demo.sh [what `tidebed demo --help` tells]
set -euo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=deploy/setup.sh
. deploy/setup.sh

prepare .venv requirements.lock
link_clone .venv
exec .venv/bin/tidebed demo "$@"
