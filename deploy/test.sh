#!/usr/bin/env bash
# Prepares everything and checks it all: style, types, tests. Ends in pytest's own summary.
# As root, what the tests need from Debian is installed and nothing may be skipped; as a plain user, tests that need
# a program that is not there are skipped by name and counted.
# Usage: deploy/test.sh [arguments for pytest]
set -uo pipefail
cd "$(dirname "$0")/.." || exit 2
# shellcheck source=deploy/setup.sh
. deploy/setup.sh

# program -> the Debian package that holds it
declare -A package=(
  [mosquitto]=mosquitto
  [victoria-metrics]=victoria-metrics
  [shellcheck]=shellcheck
  [systemd-analyze]=systemd
)
missing=()
for program in "${!package[@]}"; do
  PATH="$PATH:/usr/sbin:/sbin" command -v "$program" >/dev/null || missing+=("${package[$program]}")
done
if is_root; then
  if [ ${#missing[@]} -gt 0 ]; then install_debian "${missing[@]}"; fi
  export TIDEBED_SKIP_NOTHING=1
elif [ ${#missing[@]} -gt 0 ]; then
  say "Tests that need ${missing[*]} will be skipped. To run them: sudo apt-get install ${missing[*]}"
fi

prepare .venv deploy/requirements-test.lock
link_clone .venv

failed=()
check() {
  say "== $*"
  ".venv/bin/$1" "${@:2}" >&2 || failed+=("$1 ${2:-}")
}
check ruff check .
check ruff format --check .
check mypy --strict rules adapters demo_replay daemon tests

if [ ${#failed[@]} -gt 0 ]; then
  printf -v list '%s, ' "${failed[@]}"
  say "Not clean: ${list%, } (see above); the tests follow, but this run has failed."
fi

say "== pytest $*"
.venv/bin/python -m pytest -q "$@"
result=$?
[ ${#failed[@]} -eq 0 ] || [ "$result" -ne 0 ] || result=1
exit "$result"
