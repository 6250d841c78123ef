# SPDX-License-Identifier: Apache-2.0
# Sourced.

identity() { # NAME HOST: makes NAME.crt, a certificate of HOST (as DNS:van.example, IP:192.0.2.7) that
    # vouches for itself, NAME.key, and both in NAME.pem
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 1 -subj "/CN=$1" \
        -addext "subjectAltName=$2" -keyout "$1.key" -out "$1.crt" 2>openssl.err ||
        fail "openssl: $(cat openssl.err)"
    cat "$1.crt" "$1.key" >"$1.pem"
}
