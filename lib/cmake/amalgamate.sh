#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# amalgamate.sh LIB VERSION-HEADER OUT SOURCE...: writes OUT/telltale.hpp, all public headers of the
# folders that the sources are in, and OUT/telltale.cpp, all sources and their own headers, as one file
# each. Only tl::expected is needed besides. LIB is this project's lib/ folder.
#
# What an unnamed namespace declares (found by the form that clang-format gives every file: it begins
# in the first column) gets the number of its source where another source uses the same word.
set -eu
lib=$1
version=$2
out=$3
shift 3
mkdir -p "$out"
folders=$(for source in "$@"; do
    source=${source#"$lib/src/"}
    echo "${source%%/*}"
done | sort -u)
headers=$(for folder in $folders; do
    for header in "$lib/include/telltale/$folder"/*.hpp; do
        [ ! -e "$header" ] || echo "$header"
    done
    find "$lib/src/$folder" -name '*.hpp' | LC_ALL=C sort
done)

cat >"$out/amalgamate.awk" <<'END'
function exists(file,    line, there) {
    there = (getline line < file) >= 0
    close(file)
    return there
}
function resolve(name, from,    folder) {
    folder = from
    sub(/[^\/]*$/, "", folder)
    if (name == "telltale/version.h")
        return version
    if (exists(folder name))
        return folder name
    if (exists(lib "/src/" name))
        return lib "/src/" name
    if (exists(lib "/include/" name))
        return lib "/include/" name
    print "cannot find " name ", which " from " includes" > "/dev/stderr"
    exit 1
}
# The name that a line at the start of a declaration declares, or "".
function declared(line) {
    if (line !~ /^[A-Za-z_]/ || line ~ /^(template|requires|namespace|static_assert|using namespace|public|private|case)/)
        return ""
    if (line ~ /^(struct|class|union|enum|using) /) {
        if (line ~ /^using / && line !~ /^using [A-Za-z_0-9]+ =/)
            return ""
        sub(/^(enum class|struct|class|union|enum|using) /, "", line)
        match(line, /^[A-Za-z_0-9]+/)
        return substr(line, 1, RLENGTH)
    }
    if (line ~ /^[^(=]*=/) # a constant: what stands before the first =
        sub(/ *(\[[^=]*)?=.*/, "", line)
    else
        sub(/[({\[;].*/, "", line)
    if (!match(line, /[A-Za-z_0-9]+$/))
        return ""
    return substr(line, RSTART, RLENGTH)
}
# The names that the unnamed namespaces of a source declare, and nothing else in it.
function collect(file,    line, inside, bare, name, i, values, parts) {
    while ((getline line < file) > 0) {
        if (line == "namespace {") {
            inside = 1
            continue
        }
        if (inside) { # how many braces are open
            bare = line
            gsub(text, "", bare)
            inside += gsub(/[{]/, "", bare) - gsub(/[}]/, "", bare)
        }
        if (inside && line ~ /^enum (: [a-z_0-9:]+ )?[{].*[}];/) { # an enumeration without a name
            gsub(/^[^{]*[{] *|[}];.*/, "", line)
            values = split(line, parts, / *(= *[^,]*)?(, *|$)/)
            for (i = 1; i <= values; ++i)
                own[parts[i]] = has[file, parts[i]] = 1
            continue
        }
        if ((name = declared(line)) == "")
            continue
        if (inside)
            own[name] = has[file, name] = 1
        else
            shown[file, name] = 1
    }
    close(file)
}
# Where such names stand.
function count(file,    line, name) {
    while ((getline line < file) > 0)
        while (match(line, word)) {
            name = substr(line, RSTART, RLENGTH)
            line = substr(line, RSTART + RLENGTH)
            if (name in own && !((file, name) in counted)) {
                counted[file, name] = 1
                ++files[name]
            }
        }
    close(file)
}
# The line with the names that this file shares with another one replaced, but for members,
# qualified names, texts and comments.
function renamed(line, file,    result, token, before) {
    result = ""
    while (match(line, word)) {
        token = substr(line, RSTART, RLENGTH)
        before = result substr(line, 1, RSTART - 1)
        line = substr(line, RSTART + RLENGTH)
        result = before
        if ((file, token) in has && files[token] > 1 && !((file, token) in shown) &&
            before !~ /(->|[^.]\.|::)$/)
            token = token "_" number[file]
        result = result token
    }
    return result line
}
function emit(file,    line, parts) {
    if (file in done)
        return
    done[file] = 1
    while ((getline line < file) > 0) {
        if (line ~ /^#pragma once/ || line ~ /^\/\/ SPDX/)
            continue
        if (line ~ /^#include "/) {
            split(line, parts, "\"")
            emit(resolve(parts[2], file))
        } else if (line ~ /^#include </) {
            if (!(line in done))
                print line > target
            done[line] = 1
        } else {
            print (file in number ? renamed(line, file) : line) > target
        }
    }
    close(file)
}
BEGIN {
    # A text, character or comment; the same, a word or a number.
    text = "\"(\\\\.|[^\"\\\\])*\"|'(\\\\.|[^'\\\\])+'|//.*"
    word = "[A-Za-z_][A-Za-z_0-9]*|[0-9][A-Za-z0-9_'.]*|" text
    for (i = 1; i < ARGC; ++i)
        if (ARGV[i] ~ /\.cpp$/) {
            number[ARGV[i]] = ++sources
            collect(ARGV[i])
        }
    for (i = 1; i < ARGC; ++i)
        count(ARGV[i])
    target = out "/telltale.hpp"
    print "// SPDX-License-Identifier: Apache-2.0" > target
    print "// All public headers of telltale::decode in one. Made by a script: change the headers." > target
    print "#pragma once" > target
    emit(version)
    for (i = 1; i < ARGC; ++i)
        if (index(ARGV[i], lib "/include/") == 1)
            emit(ARGV[i])
    close(target)
    target = out "/telltale.cpp"
    print "// SPDX-License-Identifier: Apache-2.0" > target
    print "// All sources of telltale::decode in one. Made by a script: change the sources." > target
    print "#include \"telltale.hpp\"" > target
    for (i = 1; i < ARGC; ++i)
        if (ARGV[i] ~ /\.cpp$/) {
            print "\n// ---- " substr(ARGV[i], length(lib "/src/") + 1) > target
            emit(ARGV[i])
        }
    close(target)
}
END
# shellcheck disable=SC2086 # words are wanted
LC_ALL=C awk -v lib="$lib" -v version="$version" -v out="$out" -f "$out/amalgamate.awk" $headers "$@"
rm "$out/amalgamate.awk"
