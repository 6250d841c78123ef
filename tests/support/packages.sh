# SPDX-License-Identifier: Apache-2.0
# To be sourced. need PACKAGE...: installs the Debian packages that are missing and nothing else;
# COMMAND:PACKAGE is content with the command, wherever it comes from.
need() {
    need_missing=
    for need_item in "$@"; do
        case $need_item in
        *:*) command -v "${need_item%%:*}" >/dev/null 2>&1 || need_missing="$need_missing ${need_item##*:}" ;;
        *)
            dpkg-query -W -f='${db:Status-Status}' "$need_item" 2>/dev/null | grep -qx installed ||
                need_missing="$need_missing $need_item"
            ;;
        esac
    done
    [ -n "$need_missing" ] || return 0
    if ! command -v apt-get >/dev/null 2>&1; then
        echo "Not a Debian system. Please install what these packages hold:$need_missing" >&2
        return 0 # what is missing in earnest, the build says
    fi
    need_root=
    [ "$(id -u)" -eq 0 ] || need_root=sudo
    echo "Installing$need_missing" >&2
    $need_root apt-get update -q >&2 </dev/null || return 1
    # shellcheck disable=SC2086 # words are wanted
    $need_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -q --no-install-recommends $need_missing >&2 </dev/null
}
