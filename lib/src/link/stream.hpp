// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <span>
#include <string>

#include "telltale/link/link.hpp"

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
};

std::shared_ptr<Stream> make_tcp(const Executor& executor);
/// `ca`: file of the certificates to trust; empty: those of the system. `verify`: false takes any.
/// Null, with `why`, when the file cannot be used.
std::shared_ptr<Stream> make_tls(const Executor& executor, const std::string& ca, bool verify,
                                 std::string& why);

} // namespace telltale::link
