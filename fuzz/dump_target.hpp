// SPDX-License-Identifier: Apache-2.0
// What the fuzzers of the dump readers share: one reader over bytes in memory, held to what every
// reader promises.
#pragma once

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <span>
#include <utility>

#include "telltale/dump/reader.hpp"

namespace fuzz {

#define FUZZ_REQUIRE(condition)                                                                    \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            std::fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #condition);           \
            std::abort();                                                                          \
        }                                                                                          \
    } while (false)

/// Gives the bytes in pieces of 1, 2, 3 ... 13 bytes over and over, as a slow pipe would.
class PieceSource final : public telltale::dump::Source {
  public:
    explicit PieceSource(telltale::Bytes bytes) : rest_(bytes), size_(bytes.size()) {}
    std::uint64_t size() const override { return size_; }
    telltale::Result<std::size_t> read(std::span<std::uint8_t> into) override {
        piece_ = piece_ % 13 + 1;
        std::size_t count = piece_;
        if (count > into.size())
            count = into.size();
        if (count > rest_.size())
            count = rest_.size();
        if (count != 0)
            std::memcpy(into.data(), rest_.data(), count);
        rest_ = rest_.subspan(count);
        return count;
    }

  private:
    telltale::Bytes rest_;
    std::uint64_t size_;
    std::size_t piece_ = 0;
};

/// FNV-1a over everything that a reader gives, so that two runs can be compared.
class Digest {
  public:
    void number(std::uint64_t value) {
        for (int i = 0; i < 8; ++i, value >>= 8)
            byte(static_cast<std::uint8_t>(value));
    }
    void bytes(telltale::Bytes bytes) {
        number(bytes.size());
        for (const auto value : bytes)
            byte(value);
    }
    void text(std::string_view text) {
        number(text.size());
        for (const char c : text)
            byte(static_cast<std::uint8_t>(c));
    }
    std::uint64_t value() const { return value_; }

  private:
    void byte(std::uint8_t value) { value_ = (value_ ^ value) * 0x100'0000'01B3; }
    std::uint64_t value_ = 0xCBF2'9CE4'8422'2325;
};

/// Reads everything and returns the digest of it; 0 when the reader refuses the input.
inline std::uint64_t read_all(std::unique_ptr<telltale::dump::Source> source, std::size_t size,
                              const telltale::dump::ReaderOptions& options) {
    using namespace telltale;
    auto reader = dump::Reader::from(std::move(source), options);
    if (!reader)
        return 0;
    Digest digest;
    dump::Record record;
    Problem problem;
    std::uint64_t problems = 0;
    // No input byte can be worth more than a few steps: a reader that stands still is found here.
    const std::size_t most_steps = 4 * size + 64;
    for (std::size_t steps = 0;; ++steps) {
        FUZZ_REQUIRE(steps < most_steps);
        const auto step = reader->next(record, problem);
        FUZZ_REQUIRE(reader->counts().bytes <= size);
        digest.number(static_cast<std::uint64_t>(step));
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            ++problems;
            FUZZ_REQUIRE(problem.code != ProblemCode::none);
            FUZZ_REQUIRE(problem.place.offset <= size);
            digest.number(static_cast<std::uint64_t>(problem.code));
            digest.number(problem.place.offset);
            digest.number(problem.place.line);
            digest.number(problem.a);
            digest.number(problem.b);
            continue;
        }
        FUZZ_REQUIRE(record.place.offset <= size);
        digest.number(static_cast<std::uint64_t>(record.kind));
        digest.number(static_cast<std::uint64_t>(record.direction));
        digest.number(record.line);
        digest.text(reader->line_name(record.line));
        digest.number(static_cast<std::uint64_t>(record.time));
        digest.number(record.place.offset);
        digest.number(record.place.line);
        digest.text(record.comment);
        if (record.kind == dump::RecordKind::can) {
            const CanFrame& can = record.can;
            FUZZ_REQUIRE(can.id.valid());
            FUZZ_REQUIRE(can.data.size() <= (can.fd ? 64U : 8U));
            FUZZ_REQUIRE(!can.fd || is_fd_length(can.data.size()));
            FUZZ_REQUIRE(can.kind != CanKind::remote || can.data.empty());
            FUZZ_REQUIRE(can.remote_length <= 8);
            if (options.filter != nullptr && can.kind != CanKind::error)
                FUZZ_REQUIRE(options.filter->passes(can.id));
            digest.number(can.id.value);
            digest.number(static_cast<std::uint64_t>(can.id.extended));
            digest.number(static_cast<std::uint64_t>(can.kind));
            digest.number(static_cast<std::uint64_t>(can.fd));
            digest.number(static_cast<std::uint64_t>(can.bit_rate_switch));
            digest.number(static_cast<std::uint64_t>(can.error_state));
            digest.number(can.remote_length);
            digest.bytes(can.data);
        } else {
            digest.bytes(record.bytes);
        }
    }
    FUZZ_REQUIRE(reader->counts().problems == problems);
    FUZZ_REQUIRE(reader->counts().passed_over <= reader->counts().frames);
    FUZZ_REQUIRE(reader->next(record, problem) == dump::Step::end);
    return digest.value();
}

/// One input through the reader of `format` (`unknown`: found by content): from one piece and from
/// many small ones, which must make no difference, and once more with a filter.
inline void dump_target(const std::uint8_t* data, std::size_t size, telltale::dump::Format format) {
    const telltale::Bytes bytes(data, size);
    telltale::dump::ReaderOptions options;
    options.format = format;
    const auto whole = read_all(telltale::dump::memory_source(bytes), size, options);
    const auto pieces = read_all(std::make_unique<PieceSource>(bytes), size, options);
    FUZZ_REQUIRE(whole == pieces);
    static const telltale::CanFilter filter = telltale::CanFilter::diagnostic();
    options.filter = &filter;
    read_all(telltale::dump::memory_source(bytes), size, options);
}

} // namespace fuzz
