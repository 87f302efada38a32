#!/bin/sh
# Takes the service away. The book in /var/lib/paneltide and the settings in /etc/paneltide stay.
set -eu
root=${DESTDIR:-}
if [ -z "$root" ]; then
    [ "$(id -u)" = 0 ] || { echo "taking a service away needs root: run this with sudo" >&2; exit 3; }
    systemctl disable --now paneltide.service paneltide-backup.timer 2>/dev/null || true
    for instance in $(systemctl list-units --all --plain --no-legend 'paneltide-*@*' | cut -d' ' -f1); do
        systemctl disable --now "$instance" || true
    done
fi
rm -f "$root"/etc/systemd/system/paneltide.service "$root"/etc/systemd/system/paneltide-* \
    "$root/usr/local/bin/paneltide"
rm -rf "$root/opt/paneltide" "$root/var/cache/paneltide"
[ -n "$root" ] || systemctl daemon-reload
echo "paneltide is gone; the book in $root/var/lib/paneltide and the settings in $root/etc/paneltide stay"
