// SPDX-License-Identifier: Apache-2.0
// K-line frames: what is taken apart holds what the frame held, and any bytes cut into frames come
// out again, all of them and in order.
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "dump_target.hpp"
#include "telltale/frame/kline.hpp"

using namespace telltale;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const Bytes bytes(data, size);
    KlineFrame frame;
    if (parse_kline(bytes, frame).fine()) {
        FUZZ_REQUIRE(size <= max_kline_frame);
        FUZZ_REQUIRE(frame.header_size + frame.data.size() + 1 == size);
        FUZZ_REQUIRE(frame.data.data() == data + frame.header_size);
        FUZZ_REQUIRE(kline_checksum(bytes.first(size - 1)) == bytes.back());
        FUZZ_REQUIRE(frame.form == KlineForm::iso_9141 || kline_length(bytes) == size);
    }
    KlineInit init;
    init.take(bytes);

    // A byte, and how long it was waited for.
    KlineCutter cutter;
    KlineCutter::Piece piece;
    std::vector<std::uint8_t> in;
    std::vector<std::uint8_t> out;
    const auto take = [&] {
        while (cutter.next(piece)) {
            FUZZ_REQUIRE(!piece.bytes.empty() && piece.bytes.size() <= max_kline_frame);
            out.insert(out.end(), piece.bytes.begin(), piece.bytes.end());
        }
    };
    Time time = 0;
    for (std::size_t i = 0; i + 1 < size; i += 2) {
        time += static_cast<Time>(static_cast<std::int8_t>(data[i + 1])) *
                nanoseconds_a_millisecond / 4;
        cutter.pause_until(time);
        take();
        cutter.push(data[i], time, {});
        in.push_back(data[i]);
    }
    cutter.finish();
    take();
    FUZZ_REQUIRE(in == out);
    return 0;
}
