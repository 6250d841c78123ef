// SPDX-License-Identifier: Apache-2.0
// Any text as a description of parameters. What is accepted must print to a text that is accepted
// again and prints the same, and must decode any message without harm.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/catalogue/extension.hpp"
#include "telltale/catalogue/listing.hpp"
#include "telltale/message/message.hpp"

using namespace telltale;

namespace {

class Nobody final : public message::Sink {
  public:
    void value(const message::Value& value) override { sum += value.number; }
    void dtc(message::Dtc) override {}
    void problem(const Problem&) override {}
    double sum = 0;
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    std::vector<catalogue::Fault> faults;
    const auto extension = catalogue::read_extension(text, &faults);
    if (!extension) {
        if (faults.empty() && extension.error().code != ErrorCode::too_long)
            std::abort(); // a fault that nobody is told
        return 0;
    }
    if (!faults.empty())
        std::abort();
    if (extension->empty())
        return 0;
    // Only the lines that are not the standard's: printing and reading all of them is slow.
    std::string all;
    catalogue::append_catalogue_csv(all, &*extension);
    const auto again = catalogue::read_extension(all);
    if (!again || again->rows().size() != extension->rows().size() ||
        again->codes().size() != extension->codes().size())
        std::abort();
    std::string twice;
    catalogue::append_catalogue_csv(twice, &*again);
    if (twice != all)
        std::abort();
    Nobody nobody;
    for (const auto& own : extension->rows()) {
        message::DecodeOptions options;
        options.extension = &*extension;
        options.ecu = own.ecu;
        std::uint8_t bytes[64] = {static_cast<std::uint8_t>(own.service | 0x40)};
        std::size_t at = 1;
        if (own.service == 0x22)
            bytes[at++] = static_cast<std::uint8_t>(own.row.id >> 8);
        bytes[at++] = static_cast<std::uint8_t>(own.row.id);
        for (std::size_t i = at; i < sizeof bytes; ++i)
            bytes[i] = static_cast<std::uint8_t>(i * 37 + size);
        message::Header header;
        if (message::read_header(bytes, Role::ecu, header, &*extension) != ProblemCode::none)
            std::abort();
        message::EcuContext context;
        const std::size_t length = own.row.length == 0 ? 32 : own.row.length;
        message::decode(Bytes(bytes).first(std::min(at + length, sizeof bytes)), header, &context,
                        nobody, options);
    }
    return 0;
}
