// SPDX-License-Identifier: Apache-2.0
// Reads a dump that stands in a string and writes down, one line a step, all that the reader gives.
#pragma once

#include <algorithm>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"

namespace test {

/// Gives its bytes in pieces of a fixed size.
class PieceSource final : public telltale::dump::Source {
  public:
    PieceSource(telltale::Bytes bytes, std::size_t piece) : rest_(bytes), piece_(piece) {}
    telltale::Result<std::size_t> read(std::span<std::uint8_t> into) override {
        const auto count = std::min({into.size(), rest_.size(), piece_});
        std::copy_n(rest_.begin(), count, into.begin());
        rest_ = rest_.subspan(count);
        return count;
    }

  private:
    telltale::Bytes rest_;
    std::size_t piece_;
};

inline telltale::Bytes as_bytes(std::string_view text) {
    return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// One step: `1.500000 can0 7E8 04410C1AF8`, with `?` for no time and marks behind the data for
/// what else there is; `! word line a b` for a problem.
inline std::string show(const telltale::dump::Reader& reader,
                        const telltale::dump::Record& record) {
    using namespace telltale;
    std::string out;
    if (record.time == no_time)
        out += '?';
    append_seconds(out, record.time);
    out += ' ';
    out += reader.line_name(record.line);
    out += ' ';
    if (record.kind == dump::RecordKind::can) {
        const auto& can = record.can;
        append_can_id(out, can.id);
        out += ' ';
        out += to_hex(can.data);
        if (can.kind == CanKind::remote)
            out += "remote " + std::to_string(can.remote_length);
        if (can.kind == CanKind::error)
            out += " error";
        if (can.fd)
            out += " fd";
        if (can.bit_rate_switch)
            out += " brs";
        if (can.error_state)
            out += " esi";
    } else {
        out += record.kind == dump::RecordKind::message ? "message "
               : record.kind == dump::RecordKind::kline ? "kline "
                                                        : "j1850 ";
        out += to_hex(record.bytes);
    }
    if (record.direction == dump::Direction::received)
        out += " rx";
    if (record.direction == dump::Direction::sent)
        out += " tx";
    return out;
}

inline std::string show(const telltale::Problem& problem) {
    return "! " + std::string(word(problem.code)) + " line " + std::to_string(problem.place.line) +
           " at " + std::to_string(problem.place.offset) + " a " + std::to_string(problem.a);
}

inline std::string told(std::unique_ptr<telltale::dump::Source> source,
                        telltale::dump::Format expected,
                        const telltale::CanFilter* filter = nullptr,
                        telltale::dump::Counts* counts = nullptr) {
    using namespace telltale;
    dump::ReaderOptions options;
    options.filter = filter;
    auto reader = dump::Reader::from(std::move(source), options);
    if (!reader)
        return "error: " + std::string(word(reader.error().code)) + "\n";
    if (reader->format() != expected)
        return "format: " + std::string(name(reader->format())) + "\n";
    std::string out;
    dump::Record record;
    Problem problem;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        out += step == dump::Step::record ? show(*reader, record) : show(problem);
        out += '\n';
    }
    if (counts != nullptr)
        *counts = reader->counts();
    return out;
}

/// The same from one piece and from pieces of 1 and of 7 bytes, which must not differ.
inline std::string told(std::string_view text, telltale::dump::Format expected,
                        const telltale::CanFilter* filter = nullptr,
                        telltale::dump::Counts* counts = nullptr) {
    auto whole = told(telltale::dump::memory_source(as_bytes(text)), expected, filter, counts);
    for (const std::size_t piece : {1U, 7U}) {
        const auto again =
            told(std::make_unique<PieceSource>(as_bytes(text), piece), expected, filter);
        if (again != whole)
            return "in pieces of " + std::to_string(piece) + ":\n" + again + "in one piece:\n" +
                   whole;
    }
    return whole;
}

} // namespace test
