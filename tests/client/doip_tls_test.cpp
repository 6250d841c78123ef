// SPDX-License-Identifier: Apache-2.0
// A whole session over DoIP with TLS (ISO 13400-2:2019), against an entity on the loopback with
// certificates that are made here, and what is to be refused: other authorities, other hosts, no
// TLS at all.
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/write.hpp>
#include <doctest/doctest.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/x509v3.h>

#include "support/run_until.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/link/open.hpp"
#include "telltale/mimic/vehicle.hpp"

using namespace telltale;
using namespace telltale::client;
using namespace std::chrono_literals;
namespace asio = boost::asio;
namespace doip = telltale::link::doip;
using asio::ip::tcp;

namespace {

using Key = std::unique_ptr<EVP_PKEY, decltype(&EVP_PKEY_free)>;
using Certificate = std::unique_ptr<X509, decltype(&X509_free)>;

/// A certificate and its key; signed by itself, or by an authority.
struct Identity {
    Key key{nullptr, EVP_PKEY_free};
    Certificate certificate{nullptr, X509_free};

    Identity(const char* name, const char* subject_names, const Identity* authority) {
        key.reset(EVP_EC_gen("P-256"));
        certificate.reset(X509_new());
        REQUIRE(key);
        X509* made = certificate.get();
        static long serial = 1;
        REQUIRE(X509_set_version(made, 2) == 1);
        ASN1_INTEGER_set(X509_get_serialNumber(made), serial++);
        X509_gmtime_adj(X509_getm_notBefore(made), -3600);
        X509_gmtime_adj(X509_getm_notAfter(made), 3600);
        X509_set_pubkey(made, key.get());
        X509_NAME_add_entry_by_txt(X509_get_subject_name(made), "CN", MBSTRING_ASC,
                                   reinterpret_cast<const unsigned char*>(name), -1, -1, 0);
        X509* issuer = authority != nullptr ? authority->certificate.get() : made;
        X509_set_issuer_name(made, X509_get_subject_name(issuer));
        X509V3_CTX context;
        X509V3_set_ctx(&context, issuer, made, nullptr, nullptr, 0);
        const auto extend = [&](int kind, const char* value) {
            X509_EXTENSION* extension = X509V3_EXT_conf_nid(nullptr, &context, kind, value);
            REQUIRE(extension != nullptr);
            X509_add_ext(made, extension, -1);
            X509_EXTENSION_free(extension);
        };
        extend(NID_basic_constraints, authority == nullptr ? "critical,CA:TRUE" : "CA:FALSE");
        if (subject_names != nullptr)
            extend(NID_subject_alt_name, subject_names);
        EVP_PKEY* signer = authority != nullptr ? authority->key.get() : key.get();
        REQUIRE(X509_sign(made, signer, EVP_sha256()) > 0);
    }
};

/// A file with a certificate, gone with this.
class File {
  public:
    explicit File(const Identity& identity) {
        const int descriptor = ::mkstemp(path_.data());
        REQUIRE(descriptor >= 0);
        std::FILE* file = ::fdopen(descriptor, "w");
        REQUIRE(file != nullptr);
        CHECK(PEM_write_X509(file, identity.certificate.get()) == 1);
        std::fclose(file);
    }
    ~File() { ::unlink(path_.c_str()); }
    File(const File&) = delete;
    File& operator=(const File&) = delete;
    const std::string& path() const { return path_; }

  private:
    std::string path_ = "/tmp/telltale-ca-XXXXXX";
};

/// A DoIP entity with TLS, and the simulated vehicle behind it. One connection at a time.
class SecureEntity {
  public:
    SecureEntity(asio::io_context& io, const Identity& identity, const mimic::Options& options)
        : context_(asio::ssl::context::tls_server), vehicle_(options),
          acceptor_(io, tcp::endpoint(asio::ip::address_v4::loopback(), 0)) {
        SSL_CTX* raw = context_.native_handle();
        REQUIRE(SSL_CTX_use_certificate(raw, identity.certificate.get()) == 1);
        REQUIRE(SSL_CTX_use_PrivateKey(raw, identity.key.get()) == 1);
        accept();
    }
    std::string name() const {
        return "doip:127.0.0.1:" + std::to_string(acceptor_.local_endpoint().port());
    }
    unsigned handshakes = 0;
    unsigned failures = 0;
    unsigned activations = 0;
    std::string version;
    void hang_up() { stream_->next_layer().close(); }
    const mimic::Vehicle& vehicle() const { return vehicle_; }

  private:
    static constexpr std::uint16_t entity = 0x0100;

    void accept() {
        acceptor_.async_accept([this](const boost::system::error_code& error, tcp::socket peer) {
            if (error)
                return;
            stream_ = std::make_shared<asio::ssl::stream<tcp::socket>>(std::move(peer), context_);
            parser_ = {};
            stream_->async_handshake(
                asio::ssl::stream_base::server,
                [this, kept = stream_](const boost::system::error_code& failed) {
                    ++(failed ? failures : handshakes);
                    if (!failed) {
                        version = SSL_get_version(kept->native_handle());
                        read(kept);
                    }
                });
            accept();
        });
    }
    void read(const std::shared_ptr<asio::ssl::stream<tcp::socket>>& stream) {
        stream->async_read_some(
            asio::buffer(in_),
            [this, stream](const boost::system::error_code& error, std::size_t size) {
                if (error)
                    return;
                Bytes bytes = Bytes(in_).first(size);
                doip::Packet packet;
                std::vector<std::uint8_t> out;
                while (parser_.next(bytes, packet))
                    answer(packet, out);
                boost::system::error_code failed;
                if (!out.empty())
                    asio::write(*stream, asio::buffer(out), failed);
                if (!failed)
                    read(stream);
            });
    }
    void answer(const doip::Packet& packet, std::vector<std::uint8_t>& out) {
        if (packet.type == doip::Type::activation_request) {
            ++activations;
            const std::uint8_t payload[] = {
                packet.payload[0], packet.payload[1], entity >> 8, entity & 0xFF, 0x10, 0, 0, 0, 0};
            doip::append(out, doip::Type::activation_response, payload);
        } else if (packet.type == doip::Type::message) {
            const auto message = doip::parse_message(packet.payload);
            REQUIRE(message);
            const auto put = [](std::vector<std::uint8_t>& to, std::uint16_t value) {
                to.push_back(static_cast<std::uint8_t>(value >> 8));
                to.push_back(static_cast<std::uint8_t>(value));
            };
            std::vector<std::uint8_t> taken;
            put(taken, message->target);
            put(taken, message->source);
            taken.push_back(0);
            doip::append(out, doip::Type::message_taken, taken);
            std::optional<unsigned> one;
            for (std::size_t i = 0; i < vehicle_.ecus(); ++i)
                if (entity + vehicle_.address(i) == message->target)
                    one = static_cast<unsigned>(i);
            vehicle_.ask(message->bytes, one, link::now(), [&](const mimic::Answer& said) {
                doip::append_message(
                    out, {static_cast<std::uint16_t>(entity + vehicle_.address(said.ecu)),
                          message->source, said.message});
            });
        }
    }

    asio::ssl::context context_;
    mimic::Vehicle vehicle_;
    tcp::acceptor acceptor_;
    std::shared_ptr<asio::ssl::stream<tcp::socket>> stream_;
    doip::Parser parser_;
    std::array<std::uint8_t, 4096> in_{};
};

struct Outcomes {
    bool ran = false;
    bool found = false;
    std::string trouble;
    std::size_t missing = 0;
    std::vector<EcuFacts> ecus;
    std::string vin;
};

/// Finds and reads the vehicle behind a link.
Outcomes read_all(asio::io_context& io, const std::string& name, link::Timeout patience = 10s) {
    Outcomes out;
    const auto parsed = link::parse_link_name(name);
    REQUIRE_MESSAGE(parsed.has_value(), name);
    auto made = link::make_link(io.get_executor(), *parsed);
    Session session;
    DriverOptions options;
    options.open_timeout = patience;
    Driver driver(*made, session, options);
    Finder finder(finder_options(*made, false));
    std::optional<Reader> reader;
    bool over = false;
    driver.run(finder, [&](bool ran) {
        out.ran = ran;
        out.found = finder.found();
        out.trouble = driver.trouble();
        if (!out.found) {
            over = true;
            return;
        }
        ReaderOptions reader_options;
        reader_options.ecus = finder.ecus();
        reader.emplace(finder.line(), reader_options);
        reader->on_reply = [&](const Reply& reply, Bytes request) {
            if (request.size() == 2 && request[0] == 0x09 && request[1] == 0x02)
                out.vin.assign(reply.bytes.begin() + 3, reply.bytes.end());
        };
        driver.run(*reader, [&](bool) { over = true; });
    });
    REQUIRE(tests::run_until(
        io, [&] { return over; }, 30s));
    if (reader) {
        out.missing = reader->missing().size();
        out.ecus = reader->ecus();
    }
    driver.stop();
    return out;
}

} // namespace

TEST_CASE("a vehicle behind DoIP with TLS is found and read, by a certificate that is trusted") {
    const Identity authority("An authority of our own", nullptr, nullptr);
    const Identity other_authority("Another authority", nullptr, nullptr);
    const Identity here("The invented van", "IP:127.0.0.1", &authority);
    const File trusted(authority);
    const File untrusted(other_authority);
    mimic::Options options;
    options.stored = {0x0171};
    options.verification_time = 0;
    asio::io_context io;
    SecureEntity entity(io, here, options);

    const auto good = read_all(io, entity.name() + ",tls,ca=" + trusted.path());
    CHECK(good.ran);
    REQUIRE_MESSAGE(good.found, good.trouble);
    CHECK(good.ecus.size() == entity.vehicle().ecus());
    CHECK(good.missing == 0);
    CHECK(good.vin == entity.vehicle().state(0).vin);
    CHECK(entity.handshakes == 1);
    CHECK(entity.activations == 1);
    CHECK((entity.version == "TLSv1.2" || entity.version == "TLSv1.3"));

    // Nobody who was asked to vouch for it does.
    const auto stranger = read_all(io, entity.name() + ",tls,ca=" + untrusted.path());
    CHECK(!stranger.found);
    CHECK(stranger.trouble.find("its certificate is not trusted") != std::string::npos);
    // Nor do the authorities of the system know it.
    CHECK(!read_all(io, entity.name() + ",tls").found);
    // Not to be asked about certificates is possible, by name.
    CHECK(read_all(io, entity.name() + ",tls,unverified").found);
    // Without TLS there is nothing to be had here, and nothing is given away but the request.
    const unsigned activations = entity.activations;
    CHECK(!read_all(io, entity.name(), 500ms).found);
    CHECK(entity.activations == activations);
    CHECK(entity.failures >= 1);
}

TEST_CASE("a certificate of another host is refused") {
    const Identity authority("An authority of our own", nullptr, nullptr);
    const Identity elsewhere("Another van", "DNS:van.example,IP:192.0.2.7", &authority);
    const File trusted(authority);
    asio::io_context io;
    SecureEntity entity(io, elsewhere, {});
    const auto outcome = read_all(io, entity.name() + ",tls,ca=" + trusted.path());
    CHECK(!outcome.found);
    CHECK(outcome.trouble.find("its certificate is another host's") != std::string::npos);
    CHECK(entity.activations == 0);
}

TEST_CASE("where TLS is asked for, an entity without it is refused") {
    const Identity authority("An authority of our own", nullptr, nullptr);
    const File trusted(authority);
    asio::io_context io;
    tcp::acceptor plain(io, tcp::endpoint(asio::ip::address_v4::loopback(), 0));
    std::optional<tcp::socket> peer;
    std::array<std::uint8_t, 64> in{};
    std::uint8_t first = 0;
    plain.async_accept([&](const boost::system::error_code& error, tcp::socket socket) {
        if (error)
            return;
        peer.emplace(std::move(socket));
        peer->async_read_some(
            asio::buffer(in), [&](const boost::system::error_code& failed, std::size_t) {
                if (failed)
                    return;
                first = in[0];
                // An activation that nobody asked for (ISO 13400-2, payload type 0006).
                std::vector<std::uint8_t> out;
                const std::uint8_t payload[] = {0x0E, 0x00, 0x01, 0x00, 0x10, 0, 0, 0, 0};
                doip::append(out, doip::Type::activation_response, payload);
                boost::system::error_code ignored;
                asio::write(*peer, asio::buffer(out), ignored);
            });
    });
    const auto outcome =
        read_all(io, "doip:127.0.0.1:" + std::to_string(plain.local_endpoint().port()) +
                         ",tls,ca=" + trusted.path());
    CHECK(!outcome.found);
    CHECK(outcome.trouble.find("does not speak TLS") != std::string::npos);
    CHECK(first == 0x16); // a handshake record (RFC 8446, 5.1), no DoIP
}
