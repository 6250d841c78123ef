# SPDX-License-Identifier: Apache-2.0
# To be sourced: makes a root out of Debian packages that are installed on this machine, without any
# download. `as_root` is how to be root in it: nothing, or a user namespace.

# closure DEPENDENCIES...: the packages that satisfy these, and all that those need, by what is
# installed here; a line each. A need that nothing installed satisfies is said, and fails.
closure() {
    printf '%s\n' "$@" | awk '
        function want(list, group, way, i, j, n, m, found) { # "a (>= 1), b | c"
            n = split(list, group, /, */)
            for (i = 1; i <= n; ++i) {
                found = 0
                m = split(group[i], way, /\| */)
                for (j = 1; j <= m && !found; ++j) {
                    sub(/[ (:].*/, "", way[j])
                    if (way[j] in provider) {
                        todo[++last] = provider[way[j]]
                        found = 1
                    }
                }
                if (m > 0 && !found) {
                    print "nothing installed here is " group[i] >"/dev/stderr"
                    missing = 1
                }
            }
        }
        FILENAME != "-" { # dpkg-query: name, what it provides, what it needs
            split($0, part, "\t")
            provider[part[1]] = part[1]
            needs[part[1]] = part[3] (part[4] == "" ? "" : (part[3] == "" ? "" : ", ") part[4])
            n = split(part[2], names, /, */)
            for (i = 1; i <= n; ++i) {
                sub(/[ (:].*/, "", names[i])
                if (!(names[i] in provider))
                    provider[names[i]] = part[1]
            }
            next
        }
        { want($0) }
        END {
            for (at = 1; at <= last; ++at)
                if (!(todo[at] in seen)) {
                    seen[todo[at]] = 1
                    print todo[at]
                    want(needs[todo[at]])
                }
            exit missing
        }' "$installed" -
}

# make_root ROOT PACKAGE...: their files, and a dpkg that knows of them. A root that was made of the
# same packages in the same versions before is taken again.
make_root() {
    new_root=$1
    shift
    dpkg-query -W -f='${Package} ${Version} ${Architecture}\n' "$@" | sort >"$new_root.list"
    if [ -e "$new_root/var/lib/dpkg/made-of" ] && cmp -s "$new_root.list" "$new_root/var/lib/dpkg/made-of"; then
        return 0
    fi
    rm -rf "$new_root"
    mkdir -p "$new_root/usr/bin" "$new_root/usr/sbin" "$new_root/usr/lib" "$new_root/usr/lib64" \
        "$new_root/tmp" "$new_root/var/lib/dpkg/info" "$new_root/var/lib/dpkg/updates"
    for old in bin sbin lib lib64; do # as Debian 12 has it
        ln -s "usr/$old" "$new_root/$old"
    done
    # Documentation is not what anything needs.
    dpkg -L "$@" | sed -e 's#^/\(bin\|sbin\|lib\|lib64\)\(/\|$\)#/usr/\1\2#' \
        -e '/^\/usr\/share\/\(doc\|man\|locale\|info\|lintian\)\//d' -e '/^\/\.$/d' -e 's#^/##' |
        sort -u >"$new_root.files"
    (cd / && while read -r file; do [ ! -e "$file" ] && [ ! -L "$file" ] || printf '%s\n' "$file"; done) \
        <"$new_root.files" >"$new_root.there"
    tar -C / --no-recursion -cf - -T "$new_root.there" |
        tar -C "$new_root" --no-same-owner --keep-directory-symlink -xf - || return 1
    for one in "$@"; do
        dpkg-query -s "$one"
        echo
    done >"$new_root/var/lib/dpkg/status"
    cp "$new_root.list" "$new_root/var/lib/dpkg/made-of"
}

# in_root ROOT COMMAND...
in_root() {
    in_root=$1
    shift
    $as_root chroot "$in_root" "$@"
}
