# shellcheck shell=bash
# What the scripts beside it share; each sources it. Messages go to standard error.

ROOT="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"

say() { printf '%s\n' "$*" >&2; }

die() {
  say "$*"
  exit 2
}

is_root() { [ "$(id -u)" -eq 0 ]; }

# install_debian PACKAGE... : root only. What is installed is not started: the scripts start what they need themselves.
install_debian() {
  local policy=/usr/sbin/policy-rc.d made=no told
  if [ ! -e "$policy" ]; then
    printf '#!/bin/sh\nexit 101\n' >"$policy" && chmod +x "$policy" && made=yes
  fi
  say "Installing from Debian: $*"
  if ! told="$({ apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$@"; } 2>&1 </dev/null)"; then
    [ "$made" = no ] || rm -f "$policy"
    say "$told"
    die "apt-get could not install $*; what it said stands above."
  fi
  [ "$made" = no ] || rm -f "$policy"
}

# need_python : python3 of 3.11 or later that can make environments
need_python() {
  if ! python3 -c 'import ensurepip, venv' 2>/dev/null; then
    if is_root && command -v apt-get >/dev/null; then
      install_debian python3 python3-venv
    else
      die "python3 cannot make environments here. One command is missing: sudo apt-get install python3 python3-venv"
    fi
  fi
  python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
    die "Tidebed needs Python 3.11 or later, and python3 here is $(python3 -V 2>&1). Debian 12 and later have it."
}

# prepare DIR LOCK : the environment DIR holds what LOCK pins; nothing is done where that is so already.
# The lock names every package, so pip need not look for more; what is never imported is never compiled.
prepare() {
  local environment="$1" lock="$2" sum stamp
  sum="$(cat "$ROOT/$lock" "$ROOT/deploy/requirements-build.lock" | sha256sum | cut -d' ' -f1)"
  stamp="$environment/.$(basename "$lock").sha256"
  if [ -x "$environment/bin/python" ] && [ "$(cat "$stamp" 2>/dev/null)" = "$sum" ]; then
    return
  fi
  need_python
  say "Preparing $environment (once; about half a minute)"
  if ! {
    { [ -x "$environment/bin/python" ] || python3 -m venv "$environment"; } &&
      pip_in "$environment" --require-hashes -r "$ROOT/deploy/requirements-build.lock" &&
      pip_in "$environment" --no-deps --no-compile --require-hashes -r "$ROOT/$lock"
  } >&2; then
    die "The Python environment $environment could not be prepared; what pip said stands above. Is there a network?"
  fi
  printf '%s\n' "$sum" >"$stamp"
}

# link_clone DIR : the environment DIR runs Tidebed from this clone, as it stands
link_clone() {
  local environment="$1" sum stamp="$1/.clone.sha256"
  sum="$(printf '%s' "$ROOT" | cat - "$ROOT/pyproject.toml" | sha256sum | cut -d' ' -f1)"
  if [ "$(cat "$stamp" 2>/dev/null)" = "$sum" ]; then
    return
  fi
  pip_in "$environment" --no-deps -e "$ROOT" >&2 || die "Tidebed could not be installed; what pip said stands above."
  printf '%s\n' "$sum" >"$stamp"
}

pip_in() {
  local environment="$1"
  shift
  "$environment/bin/python" -m pip --quiet --disable-pip-version-check --no-input \
    install --no-build-isolation --use-pep517 "$@"
}
