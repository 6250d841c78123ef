// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>

namespace telltale::link {

/// What came of TLS on a connection (ISO 13400-2:2019 has DoIP over TLS 1.2 or later).
struct TlsOutcome {
    enum class Kind : std::uint8_t {
        none,       ///< TLS was not tried: the connection was to be without, or there is none
        agreed,     ///< there is TLS
        not_spoken, ///< the other end has something else to say, or nothing
        refused,    ///< the other end speaks TLS, but not of this version or in this way
        untrusted,  ///< no authority that is trusted vouches for its certificate, or not today
        other_host, ///< its certificate is another host's
        unable,     ///< it could not be tried at this end
    };
    Kind kind = Kind::none;
    std::string version; ///< that was agreed: `TLSv1.3`
    std::string cipher;
    std::string why; ///< there is none, in a few words of our own or of OpenSSL's
};

} // namespace telltale::link
