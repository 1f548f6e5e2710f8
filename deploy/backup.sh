#!/usr/bin/env bash
# Saves the store, while the daemon runs, and the site file beside it; keeps the newest fourteen.
# Usage: sudo /opt/tidebed/backup.sh FOLDER      FOLDER belongs on another disk than the store.
set -euo pipefail

[ $# -eq 1 ] || { echo "Usage: $0 FOLDER" >&2; exit 2; }
folder="$1"
site="${TIDEBED_SITE:-/etc/tidebed/site.toml}"
tidebed="${TIDEBED:-/opt/tidebed/venv/bin/tidebed}"
[ -d "$folder" ] || { echo "$folder is no folder; is the disk in?" >&2; exit 2; }

stamp="$(date -u +%Y%m%dT%H%M%SZ)"
"$tidebed" backup "$site" --out "$folder/tidebed-$stamp.sqlite"
cp "$site" "$folder/site-$stamp.toml"

for kind in tidebed-*.sqlite site-*.toml; do
  # Names sort by time; all but the newest fourteen go.
  find "$folder" -maxdepth 1 -name "$kind" | sort | head -n -14 | while IFS= read -r old; do rm -- "$old"; done
done
echo "Saved to $folder/tidebed-$stamp.sqlite"
