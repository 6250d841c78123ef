// SPDX-License-Identifier: Apache-2.0
// What we write as DoIP, taken apart by tshark: no malformed field, and the values that we put in.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/link/doip.hpp"

using namespace telltale;
using namespace telltale::link;

namespace {

/// A pcap file of IPv4 packets (link type 228), a TCP segment or UDP datagram to port 13400 each.
class Capture {
  public:
    Capture() {
        for (const std::uint32_t word : {0xA1B2C3D4U, 0x00020004U, 0U, 0U, 262'144U, 228U})
            put(word, 4);
    }
    void add(const std::vector<std::uint8_t>& payload, bool tcp) {
        const std::size_t size = 20 + (tcp ? 20U : 8U) + payload.size();
        put(++count_, 4);
        put(0, 4);
        put(size, 4);
        put(size, 4);
        put(0x4500, 2);
        put(size, 2);
        put(0, 4);
        put(tcp ? 0x4006 : 0x4011, 2);
        put(0, 2);
        put(0x7F000001, 4);
        put(0x7F000001, 4);
        put(50'000, 2);
        put(13'400, 2);
        if (tcp) {
            put(sequence_, 4);
            sequence_ += static_cast<std::uint32_t>(payload.size());
            put(1, 4);
            put(0x5018FFFF, 4); // header of 20 bytes, PSH and ACK
            put(0, 4);
        } else {
            put(8 + payload.size(), 2);
            put(0, 2);
        }
        for (const auto byte : payload)
            out_ += static_cast<char>(byte);
    }
    std::string tshark(const std::string& options) const {
        std::string path = "/tmp/telltale-doip-XXXXXX";
        const int descriptor = ::mkstemp(path.data());
        REQUIRE(descriptor >= 0);
        std::FILE* file = ::fdopen(descriptor, "wb");
        CHECK(std::fwrite(out_.data(), 1, out_.size(), file) == out_.size());
        std::fclose(file);
        std::FILE* pipe = ::popen(("tshark -n -r " + path + " " + options + " 2>&1").c_str(), "r");
        REQUIRE(pipe != nullptr);
        std::string told;
        char buffer[4096];
        while (const auto got = std::fread(buffer, 1, sizeof buffer, pipe))
            told.append(buffer, got);
        CHECK(::pclose(pipe) == 0);
        std::remove(path.c_str());
        return told;
    }

  private:
    void put(std::uint64_t value, int bytes) {
        for (int shift = 8 * (bytes - 1); shift >= 0; shift -= 8)
            out_ += static_cast<char>(value >> shift & 0xFF);
    }
    std::string out_;
    unsigned count_ = 0;
    std::uint32_t sequence_ = 1;
};

std::size_t count(const std::string& text, const std::string& part) {
    std::size_t n = 0;
    for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1))
        ++n;
    return n;
}

} // namespace

TEST_CASE("tshark takes our DoIP apart") {
    Capture capture;
    std::vector<std::uint8_t> bytes;
    doip::append(bytes, doip::Type::identification_request, {}, doip::any_version);
    capture.add(bytes, false);
    bytes.clear();
    doip::append_activation(bytes, 0x0E00, 0x01);
    capture.add(bytes, true);
    const std::vector<std::uint8_t> request{0x01, 0x0C, 0x0D};
    bytes.clear();
    doip::append_message(bytes, {0x0E00, 0xE000, request});
    capture.add(bytes, true);
    bytes.clear();
    doip::append_alive(bytes, 0x0E80);
    capture.add(bytes, true);
    std::vector<std::uint8_t> large(1400, 0x55);
    large[0] = 0x36; // transfer data, block 1
    large[1] = 0x01;
    bytes.clear();
    doip::append_message(bytes, {0x0E00, 0x1010, large});
    capture.add(bytes, true);

    const auto fields =
        capture.tshark("-T fields -e doip.version -e doip.inverse -e doip.type -e doip.length "
                       "-e doip.source_address -e doip.target_address -e doip.activation_type_v1 "
                       "-e doip.activation_type -e doip.data -E occurrence=f -E separator=,");
    CAPTURE(fields);
    std::vector<std::string> lines;
    for (std::size_t at = 0; at < fields.size();) {
        const auto end = std::min(fields.find('\n', at), fields.size());
        if (fields.compare(at, 7, "Running") != 0)
            lines.push_back(fields.substr(at, end - at));
        at = end + 1;
    }
    REQUIRE(lines.size() == 5);
    CHECK(lines[0].starts_with("0xff,0x00,0x0001,0,"));
    CHECK(lines[1].starts_with("0x02,0xfd,0x0005,7,0x0e00,"));
    CHECK(lines[1].find("0x01") != std::string::npos);
    CHECK(lines[2].starts_with("0x02,0xfd,0x8001,7,0x0e00,0xe000,"));
    CHECK(lines[3].starts_with("0x02,0xfd,0x0008,2,0x0e80,"));
    CHECK(lines[4].starts_with("0x02,0xfd,0x8001,1404,0x0e00,0x1010,"));
    const auto whole = capture.tshark("-V");
    CHECK_MESSAGE(count(whole, "Malformed") == 0, whole);
    CHECK(count(whole, "DoIP (ISO13400) Protocol") == 5);
}
