// SPDX-License-Identifier: Apache-2.0
// What a serial-line CAN adapter says: the same events in pieces of any size; a frame that is read
// is written so that it reads the same.
#include <string>
#include <vector>

#include "dump_target.hpp"
#include "telltale/link/serial_can.hpp"

using namespace telltale;
using link::SerialCanEvent;

namespace {

std::vector<std::string> events(Bytes all, std::size_t piece) {
    link::SerialCanParser parser;
    std::vector<std::string> told;
    for (std::size_t at = 0; at < all.size(); at += piece) {
        Bytes bytes = all.subspan(at, std::min(piece, all.size() - at));
        SerialCanEvent event;
        while (parser.next(bytes, event)) {
            std::string text(1, static_cast<char>('0' + static_cast<int>(event.kind)));
            text += event.text;
            if (event.kind == SerialCanEvent::Kind::frame) {
                const auto& frame = event.frame;
                FUZZ_REQUIRE(frame.id.valid());
                FUZZ_REQUIRE(frame.fd ? is_fd_length(frame.data.size()) : frame.data.size() <= 8);
                if (frame.kind != CanKind::error) {
                    link::append_serial_can(text, frame);
                    std::string again;
                    link::append_serial_can(again, frame);
                    link::SerialCanParser other;
                    Bytes written(reinterpret_cast<const std::uint8_t*>(again.data()),
                                  again.size());
                    SerialCanEvent copy;
                    FUZZ_REQUIRE(other.next(written, copy));
                    FUZZ_REQUIRE(copy.kind == SerialCanEvent::Kind::frame);
                    FUZZ_REQUIRE(copy.frame.id == frame.id && copy.frame.kind == frame.kind);
                    FUZZ_REQUIRE(std::equal(copy.frame.data.begin(), copy.frame.data.end(),
                                            frame.data.begin(), frame.data.end()));
                }
            }
            told.push_back(std::move(text));
        }
        FUZZ_REQUIRE(bytes.empty());
    }
    return told;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const Bytes bytes(data, size);
    const auto whole = events(bytes, std::max<std::size_t>(size, 1));
    FUZZ_REQUIRE(events(bytes, 1) == whole);
    FUZZ_REQUIRE(events(bytes, 7) == whole);
    return 0;
}
