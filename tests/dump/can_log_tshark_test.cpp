// SPDX-License-Identifier: Apache-2.0
// The reader of text logs against the one that the Wireshark tools have.
#include "binary_support.hpp"

using namespace binary;

namespace {

/// The frames as a text log.
std::string write_log(const std::vector<Frame>& frames) {
    std::string out;
    for (const auto& one : frames) {
        out += '(';
        append_seconds(out, one.time);
        out += ") can0 ";
        append_can_id(out, one.id);
        out += '#';
        if (one.kind == CanKind::remote)
            out += "R" + std::to_string(one.remote_length);
        if (one.fd)
            out += "#" + std::to_string((one.bit_rate_switch ? 1 : 0) + (one.error_state ? 2 : 0));
        out += to_hex(one.data) + '\n';
    }
    return out;
}

std::string printed(const Frame& one) {
    std::string out;
    append_seconds(out, one.time);
    out += " " + std::to_string(one.id.value) + (one.id.extended ? " x" : " s");
    if (one.kind == CanKind::remote)
        return out + " remote";
    if (one.fd)
        out += std::string(one.bit_rate_switch ? " brs" : " -") + (one.error_state ? " esi" : " -");
    return out + " " + to_hex(one.data);
}

} // namespace

TEST_CASE("tshark reads from a text log what the reader reads") {
    auto frames = mixed_frames(3000, 20'26);
    for (auto& one : frames)
        if (one.id.value == 0)
            one.id.value = 1; // tshark shows no data bytes of identifier 0
    const auto text = write_log(frames);
    const Buffer content(text.begin(), text.end());
    const auto reading = read(content);
    REQUIRE(reading.problems.empty());
    CHECK(reading.frames == frames);

    const TemporaryFile file(content);
    const auto got = run(std::string(TSHARK) + " -r " + file.path() +
                         " -T fields -E separator=, -e frame.time_epoch -e can.id -e can.flags.xtd"
                         " -e can.flags.rtr -e canfd.flags.brs -e canfd.flags.esi -e data.data");
    REQUIRE(got.size() == reading.frames.size());
    for (std::size_t i = 0; i < got.size(); ++i) {
        std::vector<std::string> cells(1);
        for (const char c : got[i]) {
            if (c == ',')
                cells.emplace_back();
            else
                cells.back() += c >= 'a' && c <= 'f' ? static_cast<char>(c - 32) : c;
        }
        REQUIRE(cells.size() == 7);
        std::string line = cells[0].substr(0, cells[0].size() - 3) + ' ' + cells[1] +
                           (cells[2] == "1" ? " x" : " s");
        if (cells[3] == "1")
            line += " remote"; // the length asked for is not in its fields
        else
            line += (cells[4].empty()  ? ""
                     : cells[4] == "1" ? " brs"
                                       : " -") +
                    std::string(cells[5].empty()  ? ""
                                : cells[5] == "1" ? " esi"
                                                  : " -") +
                    ' ' + cells[6];
        CHECK(line == printed(reading.frames[i]));
    }
}
