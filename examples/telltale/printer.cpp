// SPDX-License-Identifier: Apache-2.0
#include "printer.hpp"

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::program {

void Printer::opened(const dump::Reader& reader) {
    reader_ = &reader;
    messages_ = problems_ = 0;
    by_code_.fill(0);
}

void Printer::count(const Problem& problem) {
    ++problems_;
    ++by_code_[static_cast<std::size_t>(problem.code)];
}

void Printer::closed() {
    const auto& counts = reader_->counts();
    std::string text;
    if (problems_ != 0) {
        append_integer(text, problems_);
        text += problems_ == 1 ? " problem:" : " problems:";
        const char* between = " ";
        for (std::size_t i = 0; i < by_code_.size(); ++i) {
            if (by_code_[i] == 0)
                continue;
            text += between;
            append_integer(text, by_code_[i]);
            text += ' ';
            text += word(static_cast<ProblemCode>(i));
            between = ", ";
        }
    } else if (messages_ == 0) {
        append_integer(text, counts.frames);
        text += counts.frames == 1 ? " frame" : " frames";
        text += ", none of them diagnostic; --ids names further identifiers";
    }
    if (!text.empty() && output_.open())
        output_.say(file_, text);
    reader_ = nullptr;
}

std::string_view kind_word(const message::Header& header) {
    switch (header.kind) {
    case message::Kind::request:
        return "request";
    case message::Kind::response:
        return "response";
    case message::Kind::negative:
        break;
    }
    return "negative";
}

std::string_view code_name(std::uint8_t service) {
    switch (service) {
    case 0x03:
        return "stored code";
    case 0x07:
        return "pending code";
    case 0x0A:
        return "permanent code";
    default:
        return "code";
    }
}

std::string record_text(const message::DtcRecord& record) {
    const auto letters = record.code.text();
    std::string text(letters.data(), letters.size());
    const auto add = [&](std::string_view name, std::optional<std::uint8_t> byte) {
        if (!byte)
            return;
        text += name;
        append_hex(text, *byte, 2);
    };
    add(", status ", record.status);
    add(", severity ", record.severity);
    add(", readiness group ", record.group);
    add(", record ", record.record);
    add(", counter ", record.counter);
    const char* between = " (";
    for (unsigned bit = 0; record.status && bit < 8; ++bit) {
        if ((*record.status >> bit & 1U) == 0)
            continue;
        text += between;
        text += message::dtc_status_bits[bit];
        between = ", ";
    }
    if (record.status && *record.status != 0)
        text += ')';
    return text;
}

std::string_view negative_text(std::uint8_t code) {
    const auto* name = catalogue::negative_code(code);
    return name != nullptr ? name->name : "reserved";
}

} // namespace telltale::program
