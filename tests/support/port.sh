# SPDX-License-Identifier: Apache-2.0
# Sourced.

free_port() { # sets `port`: one that nobody has, neither of TCP nor of UDP, and that no program is given
    # unasked (those are above 32767); each process looks elsewhere first
    port=$((20000 + $$ % 10000))
    while grep -qs ":$(printf '%04X' "$port") " /proc/net/tcp /proc/net/tcp6 /proc/net/udp /proc/net/udp6; do
        port=$((port + 1))
    done
}
