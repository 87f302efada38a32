#!/bin/sh
# The command `paneltide` for the service's own book: with its settings, as its user. Put here by deploy/install.sh.
set -eu
PATH=$PATH:/usr/sbin:/sbin
settings=/etc/paneltide/environment

if [ "$(id -un)" != paneltide ] && [ "$(id -u)" != 0 ]; then
    echo "paneltide: the service's book belongs to the user paneltide; type: sudo paneltide $*" >&2
    exit 3
fi

export PANELTIDE_DATA_DIR=/var/lib/paneltide NUMBA_CACHE_DIR=/var/cache/paneltide HOME=/var/lib/paneltide
# As systemd reads it (EnvironmentFile=): a name and a value a line, quotes around a value taken off.
if [ -r "$settings" ]; then
    while IFS= read -r line || [ -n "$line" ]; do
        case $line in
        '' | '#'* | ';'*) continue ;;
        [A-Za-z_]*=*) ;;
        *) continue ;;
        esac
        value=${line#*=}
        case $value in
        \"*\") value=${value#\"} value=${value%\"} ;;
        \'*\') value=${value#\'} value=${value%\'} ;;
        esac
        export "${line%%=*}=$value"
    done <"$settings"
fi

if [ "$(id -un)" = paneltide ]; then
    exec /opt/paneltide/bin/paneltide "$@"
fi
exec runuser -u paneltide -- /opt/paneltide/bin/paneltide "$@"
