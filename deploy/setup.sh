# shellcheck shell=bash
# Shared by the scripts beside it, which source it: prepares a Python environment from a lock.
# set_up DIR LOCK     makes the environment DIR with what LOCK pins; does nothing where that is done already

say() { printf '%s\n' "$*" >&2; }

die() {
  say "$*"
  exit 2
}

is_root() { [ "$(id -u)" -eq 0 ]; }

# install_debian PACKAGE... : root only. What is installed is not started: the scripts start what they need themselves.
install_debian() {
  local policy=/usr/sbin/policy-rc.d made=no
  if [ ! -e "$policy" ]; then
    printf '#!/bin/sh\nexit 101\n' >"$policy" && chmod +x "$policy" && made=yes
  fi
  say "Installing from Debian: $*"
  if ! { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$@"; } >&2 </dev/null; then
    [ "$made" = no ] || rm -f "$policy"
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

set_up() {
  local environment="$1" lock="$2" root sum stamp
  root="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"
  sum="$(cat "$root/$lock" "$root/deploy/requirements-build.lock" "$root/pyproject.toml" | sha256sum | cut -d' ' -f1)"
  stamp="$environment/.$(basename "$lock").sha256"
  if [ -x "$environment/bin/python" ] && [ "$(cat "$stamp" 2>/dev/null)" = "$sum" ]; then
    return
  fi
  need_python
  say "Preparing $environment (once; about half a minute)"
  local pip=("$environment/bin/python" -m pip --quiet --disable-pip-version-check --no-input install)
  if ! {
    { [ -x "$environment/bin/python" ] || python3 -m venv "$environment"; } &&
      "${pip[@]}" --require-hashes -r "$root/deploy/requirements-build.lock" &&
      "${pip[@]}" --require-hashes --no-build-isolation --use-pep517 -r "$root/$lock" &&
      "${pip[@]}" --no-deps --no-build-isolation --use-pep517 ${EDITABLE:+-e} "$root"
  } >&2; then
    die "The Python environment $environment could not be prepared; what pip said stands above. Is there a network?"
  fi
  printf '%s\n' "$sum" >"$stamp"
}
