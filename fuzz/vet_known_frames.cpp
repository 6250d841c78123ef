// SPDX-License-Identifier: Apache-2.0
// Text of known frames: a list that is read keeps its bounds and can be written so that it reads
// the same; a wrong one is explained in text that is fit for a terminal.
#include <string>
#include <string_view>

#include "dump_target.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/vet/known_text.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

std::string written(const KnownFrames& known) {
    std::string out;
    std::size_t group = known.groups.size();
    for (const KnownFrame& frame : known.frames) {
        if (frame.group != group) {
            group = frame.group;
            out += "group " + known.groups[group].id + " x\nbasis x\n";
        }
        out += frame.kind == CanKind::remote ? "remote "
               : frame.bit_rate_switch       ? "fd-brs "
               : frame.fd                    ? "fd "
                                             : "data ";
        append_hex(out, std::uint64_t{frame.id.value}, frame.id.extended ? 8 : 3);
        out += ' ';
        if (frame.kind == CanKind::remote)
            out += static_cast<char>('0' + frame.remote_length);
        else if (frame.size == 0)
            out += '-';
        append_hex(out, frame.bytes());
        out += '\n';
    }
    return out;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto read = parse_known_frames({reinterpret_cast<const char*>(data), size});
    if (!read) {
        FUZZ_REQUIRE(!read.error().detail.empty());
        for (const char c : read.error().detail)
            FUZZ_REQUIRE(c >= 0x20 && c < 0x7F);
        return 0;
    }
    FUZZ_REQUIRE(!read->frames.empty() && read->frames.size() <= most_known_frames);
    FUZZ_REQUIRE(read->groups.size() <= most_known_groups);
    for (const KnownFrame& frame : read->frames) {
        FUZZ_REQUIRE(frame.group < read->groups.size());
        FUZZ_REQUIRE(frame.id.valid() && is_fd_length(frame.size));
        FUZZ_REQUIRE(frame.fd || frame.size <= 8);
        FUZZ_REQUIRE(frame.remote_length <= 8 && same_frame(frame, frame.view()));
        FUZZ_REQUIRE(!describe_frame(frame.view()).empty());
    }
    const auto again = parse_known_frames(written(*read));
    FUZZ_REQUIRE(again && again->frames.size() == read->frames.size());
    for (std::size_t i = 0; i < read->frames.size(); ++i)
        FUZZ_REQUIRE(same_frame(read->frames[i], again->frames[i].view()));
    return 0;
}
