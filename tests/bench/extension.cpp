// SPDX-License-Identifier: Apache-2.0
// How long it takes to read a text of parameters, and to find one of them.
#include <benchmark/benchmark.h>

#include <cstdint>
#include <string>

#include "telltale/base/hex.hpp"
#include "telltale/catalogue/extension.hpp"

namespace {

using namespace telltale;

/// Invented parameters with all that a file may have: every third with choices or a unit of its
/// own, fields of one to four bytes, several fields to an identifier, remarks, names of ECUs.
std::string make_text(std::size_t rows) {
    std::string out =
        "table,service,id,length,row,field,short,bytes,kind,signed,scaling,unit,choices,"
        "not_used,clause,evidence,ecu\n";
    const auto place = [&](std::size_t i) {
        const auto id = static_cast<std::uint16_t>(0x1000 + i / 2);
        out += "data-id,22,";
        append_hex(out, id, 4);
    };
    for (std::size_t i = 0; i < rows; ++i) {
        const std::string number = std::to_string(i);
        place(i);
        const bool second = i % 2 != 0;
        out += second ? ",,,Second of " + number + ",SE" + number + ",C-D,"
                      : ",4,Pair " + number + ",First of " + number + ",FI" + number + ",A-B,";
        switch (i % 3) {
        case 0:
            out += "number,yes,raw * 0.25 - 12.5,{mm3/stroke},,,";
            break;
        case 1:
            out += "choice,,,,0 = off | 1 = low | 2 = high | 3 = held by hand,65535,";
            break;
        default:
            out += "number,no,raw / 10,kPa,,65535,";
            break;
        }
        out += second ? ",,7E8\n" : "invented,memory,7E8\n";
    }
    return out;
}

/// Items are rows of the text.
void read_extension(benchmark::State& state) {
    const auto rows = static_cast<std::size_t>(state.range(0));
    const std::string text = make_text(rows);
    for (auto _ : state) {
        const auto extension = catalogue::read_extension(text);
        if (!extension || extension->rows().size() != (rows + 1) / 2)
            state.SkipWithError(extension ? "other rows" : "the text has faults");
        benchmark::DoNotOptimize(extension);
    }
    state.SetItemsProcessed(state.iterations() * state.range(0));
    state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(text.size()));
}

void find_row(benchmark::State& state) {
    const auto extension = catalogue::read_extension(make_text(2000));
    if (!extension)
        return state.SkipWithError("no extension");
    const auto ecu = catalogue::ecu_name(0x7E8, false);
    std::uint16_t id = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(
            extension->find(0x22, static_cast<std::uint16_t>(0x1000 + id), ecu));
        id = static_cast<std::uint16_t>((id + 577) % 1100); // some are not there
    }
}

BENCHMARK(read_extension)->Arg(200)->Arg(2'000)->Arg(20'000)->Unit(benchmark::kMillisecond);
BENCHMARK(find_row);

} // namespace
