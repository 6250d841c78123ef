// SPDX-License-Identifier: Apache-2.0
#include "stream.hpp"

#include <boost/asio/connect.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/error.hpp>
#include <boost/asio/ssl/host_name_verification.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/write.hpp>
#include <openssl/ssl.h>
#include <openssl/x509_vfy.h>

namespace telltale::link {

namespace {

namespace asio = boost::asio;
using asio::ip::tcp;

/// What is common; `Self` has `socket()` and `ready(host, done)`.
template <class Self, class Layer> class Tcp : public Stream {
  public:
    explicit Tcp(const Executor& executor) : resolver_(executor) {}

    void connect(const std::string& host, std::uint16_t port, Done done) override {
        // A number needs no asking around, and must not wait for a name server.
        error_code error;
        const auto address = asio::ip::make_address(host, error);
        if (!error) {
            self().lowest().async_connect(
                tcp::endpoint(address, port),
                [kept = hold(), host, done = std::move(done)](const error_code& failed) mutable {
                    kept->connected(failed, host, std::move(done));
                });
            return;
        }
        resolver_.async_resolve(
            host, std::to_string(port),
            [kept = hold(), host, done = std::move(done)](
                const error_code& failed, const tcp::resolver::results_type& found) mutable {
                if (failed || kept->closed_)
                    return kept->tell(done, failed);
                asio::async_connect(kept->lowest(), found,
                                    [kept, host, done = std::move(done)](
                                        const error_code& refused, const tcp::endpoint&) mutable {
                                        kept->connected(refused, host, std::move(done));
                                    });
            });
    }
    void read(std::span<std::uint8_t> into, Read done) override {
        self().layer().async_read_some(
            asio::buffer(into.data(), into.size()),
            [kept = hold(), done = std::move(done)](const error_code& error, std::size_t size) {
                if (!kept->closed_)
                    done(error, size);
            });
    }
    void write(Bytes bytes, Done done) override {
        asio::async_write(self().layer(), asio::buffer(bytes.data(), bytes.size()),
                          [kept = hold(), done = std::move(done)](
                              const error_code& error, std::size_t) { kept->tell(done, error); });
    }
    void close() override {
        closed_ = true;
        error_code ignored;
        resolver_.cancel();
        self().lowest().close(ignored);
    }

  protected:
    void tell(const Done& done, const error_code& error) {
        if (!closed_)
            done(error);
    }
    bool closed_ = false;

  private:
    Self& self() { return static_cast<Self&>(*this); }
    std::shared_ptr<Self> hold() { return self().shared_from_this(); }
    void connected(const error_code& error, const std::string& host, Done done) {
        if (error || closed_)
            return tell(done, error);
        error_code ignored;
        self().lowest().set_option(tcp::no_delay(true), ignored);
        self().ready(host, std::move(done));
    }

    tcp::resolver resolver_;
    friend Self;
};

class Plain final : public Tcp<Plain, tcp::socket>, public std::enable_shared_from_this<Plain> {
  public:
    explicit Plain(const Executor& executor) : Tcp(executor), socket_(executor) {}
    tcp::socket& lowest() { return socket_; }
    tcp::socket& layer() { return socket_; }
    void ready(const std::string&, const Done& done) { done({}); }

  private:
    tcp::socket socket_;
};

class Tls final : public Tcp<Tls, asio::ssl::stream<tcp::socket>>,
                  public std::enable_shared_from_this<Tls> {
  public:
    Tls(const Executor& executor, asio::ssl::context context, bool verify)
        : Tcp(executor), context_(std::move(context)), stream_(executor, context_),
          verify_(verify) {}
    tcp::socket& lowest() { return stream_.next_layer(); }
    asio::ssl::stream<tcp::socket>& layer() { return stream_; }
    void ready(const std::string& host, Done done) {
        outcome_ = {TlsOutcome::Kind::not_spoken, "", "", "nothing comes of the handshake"};
        if (verify_)
            stream_.set_verify_callback([this, names = asio::ssl::host_name_verification(host)](
                                            bool vouched, asio::ssl::verify_context& context) {
                return trusts(vouched, context, names);
            });
        stream_.async_handshake(
            asio::ssl::stream_base::client,
            [kept = shared_from_this(), done = std::move(done)](const error_code& error) {
                kept->shaken(error);
                kept->tell(done, error);
            });
    }
    TlsOutcome tls() const override { return outcome_; }

  private:
    bool trusts(bool vouched, asio::ssl::verify_context& context,
                const asio::ssl::host_name_verification& names) {
        X509_STORE_CTX* chain = context.native_handle();
        if (!vouched) {
            outcome_.kind = TlsOutcome::Kind::untrusted;
            outcome_.why = X509_verify_cert_error_string(X509_STORE_CTX_get_error(chain));
            return false;
        }
        if (names(vouched, context))
            return true;
        outcome_.kind = TlsOutcome::Kind::other_host;
        outcome_.why = "hostname mismatch";
        X509_STORE_CTX_set_error(chain, X509_V_ERR_HOSTNAME_MISMATCH);
        return false;
    }
    void shaken(const error_code& error) {
        if (!error) {
            SSL* ssl = stream_.native_handle();
            outcome_ = {TlsOutcome::Kind::agreed, SSL_get_version(ssl), SSL_get_cipher_name(ssl),
                        ""};
            return;
        }
        if (outcome_.kind != TlsOutcome::Kind::not_spoken) // the certificate's fault
            return;
        outcome_.why = error.message();
        if (error.category() != asio::error::get_ssl_category())
            return;
        const int reason = ERR_GET_REASON(static_cast<unsigned long>(error.value()));
        if (reason >= SSL_AD_REASON_OFFSET || reason == SSL_R_UNSUPPORTED_PROTOCOL)
            outcome_.kind = TlsOutcome::Kind::refused; // by an alert, or with an old version
        else if (reason == SSL_R_NO_PROTOCOLS_AVAILABLE || reason == SSL_R_NO_CIPHERS_AVAILABLE)
            outcome_.kind = TlsOutcome::Kind::unable;
    }

    asio::ssl::context context_;
    asio::ssl::stream<tcp::socket> stream_;
    bool verify_;
    TlsOutcome outcome_;
};

} // namespace

std::shared_ptr<Stream> make_tcp(const Executor& executor) {
    return std::make_shared<Plain>(executor);
}

std::shared_ptr<Stream> make_tls(const Executor& executor, const std::string& ca, bool verify,
                                 std::string& why) {
    // ISO 13400-2:2019: TLS 1.2 or later.
    asio::ssl::context context(asio::ssl::context::tls_client);
    error_code error;
    context.set_options(asio::ssl::context::default_workarounds | asio::ssl::context::no_sslv2 |
                            asio::ssl::context::no_sslv3 | asio::ssl::context::no_tlsv1 |
                            asio::ssl::context::no_tlsv1_1,
                        error);
    if (!error)
        context.set_verify_mode(verify ? asio::ssl::verify_peer : asio::ssl::verify_none, error);
    if (!error && verify) {
        if (ca.empty())
            context.set_default_verify_paths(error);
        else
            context.load_verify_file(ca, error);
    }
    if (error) {
        why = "the certificates in '" + ca + "' cannot be used: " + error.message();
        return nullptr;
    }
    return std::make_shared<Tls>(executor, std::move(context), verify);
}

std::shared_ptr<Stream> make_old_tls(const Executor& executor) {
    asio::ssl::context context(asio::ssl::context::tls_client);
    error_code error;
    context.set_verify_mode(asio::ssl::verify_none, error);
    SSL_CTX* raw = context.native_handle();
    // These versions sign with SHA-1, which OpenSSL allows at its lowest level alone.
    if (error || SSL_CTX_set_min_proto_version(raw, TLS1_VERSION) != 1 ||
        SSL_CTX_set_max_proto_version(raw, TLS1_1_VERSION) != 1 ||
        SSL_CTX_set_cipher_list(raw, "DEFAULT:@SECLEVEL=0") != 1)
        return nullptr;
    return std::make_shared<Tls>(executor, std::move(context), false);
}

} // namespace telltale::link
