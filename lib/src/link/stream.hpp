// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>

#include "telltale/link/link.hpp"
#include "telltale/link/tls.hpp"

namespace telltale::link {

/// A connection over TCP, with or without TLS. Callbacks are not called any more once the stream
/// is closed; one read and one write at a time.
class Stream {
  public:
    using Done = std::function<void(error_code)>;
    using Read = std::function<void(error_code, std::size_t)>;
    virtual ~Stream() = default;
    /// Resolves, connects and, with TLS, shakes hands.
    virtual void connect(const std::string& host, std::uint16_t port, Done done) = 0;
    virtual void read(std::span<std::uint8_t> into, Read done) = 0;
    virtual void write(Bytes bytes, Done done) = 0;
    virtual void close() = 0;
    /// What came of TLS so far.
    virtual TlsOutcome tls() const { return {}; }
};

std::shared_ptr<Stream> make_tcp(const Executor& executor);
/// `ca`: file of the certificates to trust; empty: those of the system. `verify`: false takes any.
/// Null, with `why`, when the file cannot be used.
std::shared_ptr<Stream> make_tls(const Executor& executor, const std::string& ca, bool verify,
                                 std::string& why);
/// TLS that is too old for DoIP, 1.0 and 1.1, with any certificate: to see who takes it. Null when
/// it cannot be had here.
std::shared_ptr<Stream> make_old_tls(const Executor& executor);

} // namespace telltale::link
