#!/usr/bin/env bash
# Installs Tidebed on the board that watches the place, or brings an installed one up to date from this clone.
# Usage: sudo deploy/install.sh
#   program   /opt/tidebed             state    /var/lib/tidebed (readings, log, what is owed to phones)
#   settings  /etc/tidebed             service  tidebed.service, run by the user tidebed
# A site file and a file of secrets that are there already are never touched.
set -euo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=deploy/setup.sh
. deploy/setup.sh

is_root || die "This needs root: sudo deploy/install.sh"
command -v systemctl >/dev/null || die "This board does not run systemd, which the service needs."

id -u tidebed >/dev/null 2>&1 ||
  useradd --system --user-group --home-dir /var/lib/tidebed --no-create-home --shell /usr/sbin/nologin tidebed

install -d -m 0755 /opt/tidebed
prepare /opt/tidebed/venv requirements.lock
# Built from a copy, so that nothing of root's is left in the clone.
source_copy="$(mktemp -d)"
trap 'rm -rf "$source_copy"' EXIT
cp -r pyproject.toml README.md LICENSE rules adapters demo_replay daemon "$source_copy"
pip_in /opt/tidebed/venv --no-deps --force-reinstall "$source_copy" >&2
# The service may not write here, so everything is compiled now.
/opt/tidebed/venv/bin/python -m compileall -q /opt/tidebed/venv/lib >/dev/null || true
install -m 0755 deploy/backup.sh /opt/tidebed/backup.sh

install -d -m 0750 -o tidebed -g tidebed /var/lib/tidebed
install -d -m 0755 /etc/tidebed
if [ ! -e /etc/tidebed/site.toml ]; then
  install -m 0644 deploy/site.example.toml /etc/tidebed/site.toml
  say "Wrote /etc/tidebed/site.toml as an example: make it yours before the service is started."
fi
if [ ! -e /etc/tidebed/secrets.toml ]; then
  install -m 0600 -o tidebed -g tidebed deploy/secrets.example.toml /etc/tidebed/secrets.toml
fi

cat >/usr/local/bin/tidebed <<'EOF'
#!/bin/sh
# Tidebed for this board's site.
export TIDEBED_SITE="${TIDEBED_SITE:-/etc/tidebed/site.toml}"
exec /opt/tidebed/venv/bin/tidebed "$@"
EOF
chmod 0755 /usr/local/bin/tidebed

install -m 0644 deploy/tidebed.service /etc/systemd/system/tidebed.service
systemctl daemon-reload
if systemctl is-active --quiet tidebed; then
  systemctl restart tidebed
  say "Tidebed is up to date and runs again: journalctl -u tidebed -f"
else
  say "Next:  sudoedit /etc/tidebed/site.toml && tidebed check && sudo systemctl enable --now tidebed"
fi
