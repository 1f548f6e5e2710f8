#!/usr/bin/env bash
# Writes the three locks anew from pyproject.toml: every package at one version, with the hashes of the public
# index's files and of no other place. Needs a Python environment with pip-tools.   Usage: deploy/lock.sh PYTHON
set -euo pipefail
cd "$(dirname "$0")/.."
python="${1:-python3}"

# Extra places that this computer's pip may know would leak into versions and hashes.
export PIP_CONFIG_FILE=/dev/null
unset PIP_FIND_LINKS PIP_EXTRA_INDEX_URL PIP_INDEX_URL PIP_CONSTRAINT

compile() {
  "$python" -m piptools compile --quiet --generate-hashes --allow-unsafe --strip-extras --no-header --no-annotate \
    --no-emit-index-url --no-emit-find-links "$@"
}

compile --output-file requirements.lock pyproject.toml
# What a test needs and what is published as source alone (ioos-qc) is built here: setuptools-scm tells it its version.
printf '%s\n' 'setuptools>=77' setuptools-scm |
  compile --constraint requirements.lock --output-file deploy/requirements-build.lock -
compile --extra test --constraint requirements.lock --output-file deploy/requirements-test.lock pyproject.toml

# The locks pin setuptools on purpose; the tool's remark on it would only puzzle.
sed -i '/^# The following packages are considered/d' requirements.lock deploy/*.lock

# What this computer's cache would hide: each lock must do in an empty environment.
# shellcheck source=deploy/setup.sh
. deploy/setup.sh
fresh="$(mktemp -d)"
trap 'rm -rf "$fresh"' EXIT
for lock in requirements.lock deploy/requirements-test.lock; do
  PIP_NO_CACHE_DIR=1 prepare "$fresh/$(basename "$lock" .lock)" "$lock"
done
