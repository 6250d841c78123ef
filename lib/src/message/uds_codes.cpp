// SPDX-License-Identifier: Apache-2.0
// Services 19 (read trouble code information) and 14 (clear) of OBDonUDS: ISO 14229-1,
// SAE J1979-2.
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

/// What follows the records' head.
enum class Tail : std::uint8_t {
    records,   ///< `record` until the message ends
    snapshots, ///< record number, number of identifiers, (DID data)...; until the message ends
    bytes,     ///< bytes whose layout is the maker's
};

/// A subfunction of service 19. The letters stand for bytes, in their order:
///   m status mask   s severity mask    g functional group   f code format   r readiness group
///   n record number M memory selection c count (two bytes)
///   d code (three bytes)   t its status   S its severity   U functional unit   x fault counter
struct Report {
    std::uint8_t id;
    const char* name;
    const char* request;
    const char* head;   ///< of the response, after the subfunction
    const char* record; ///< repeated after it
    Tail tail = Tail::records;
};

constexpr Report reports[] = {
    {0x01, "Number of codes by status mask", "m", "mfc", ""},
    {0x02, "Codes by status mask", "m", "m", "dt"},
    {0x03, "Snapshot records there are", "", "", "dn"},
    {0x04, "Snapshot records of a code", "dn", "dt", "", Tail::snapshots},
    {0x06, "Extended data records of a code", "dn", "dt", "", Tail::bytes},
    {0x07, "Number of codes by severity mask", "sm", "mfc", ""},
    {0x08, "Codes by severity mask", "sm", "m", "SUdt"},
    {0x09, "Severity of a code", "d", "m", "SUdt"},
    {0x0A, "Supported codes", "", "m", "dt"},
    {0x0B, "First code whose test failed", "", "m", "dt"},
    {0x0C, "First confirmed code", "", "m", "dt"},
    {0x0D, "Latest code whose test failed", "", "m", "dt"},
    {0x0E, "Latest confirmed code", "", "m", "dt"},
    {0x14, "Fault detection counters", "", "", "dx"},
    {0x15, "Permanent codes", "", "m", "dt"},
    {0x16, "Extended data by record number", "n", "n", "", Tail::bytes},
    {0x17, "Codes of another memory by status mask", "mM", "Mm", "dt"},
    {0x1A, "Codes with an extended data record", "n", "mn", "dt"},
    {0x42, "Emissions codes by mask", "gms", "gmsf", "Sdt"},
    {0x55, "Permanent emissions codes", "g", "gmf", "dt"},
    {0x56, "Codes of a readiness group", "gr", "gmfr", "dt"},
};

constexpr std::uint8_t suppress_response = 0x80;

// Code formats whose three bytes are not SAE J2012's (ISO 14229-1, DTCFormatIdentifier).
constexpr std::uint8_t format_j1939 = 0x02;
constexpr std::uint8_t format_iso_11992 = 0x03;

const Report* find(std::uint8_t id) {
    for (const Report& report : reports)
        if (report.id == id)
            return &report;
    return nullptr;
}

std::size_t size_of(const char* layout) {
    std::size_t size = 0;
    for (; *layout != '\0'; ++layout)
        size += *layout == 'd' ? 3U : *layout == 'c' ? 2U : 1U;
    return size;
}

/// Walks a message of service 19 by the letters of its report.
class Walk {
  public:
    Walk(Decoder& d, const Report& report) : d_(d), report_(report) { record_.report = report.id; }

    void request() {
        d_.asked(report_.id, report_.name);
        if (!head(report_.request))
            return;
        if (has_code_)
            words("Code", {code_text_.data(), code_text_.size()}, 0, record_.code.raw());
        rest_is_too_much();
    }

    void response() {
        if (!head(report_.head))
            return;
        if (has_code_) // snapshots and extended data: of one code
            tell();
        switch (report_.tail) {
        case Tail::records:
            return records();
        case Tail::snapshots:
            return snapshots();
        case Tail::bytes:
            return bytes();
        }
    }

  private:
    std::size_t left() const { return d_.message.size() - at_; }

    void words(std::string_view name, std::string_view text, std::uint8_t index, std::int64_t raw) {
        d_.told(report_.id, index, name, text, raw);
    }

    void hex(std::string_view name, std::uint8_t index, std::uint8_t byte) {
        d_.text.clear();
        d_.text.hex(byte, 2);
        words(name, d_.text.view(), index, byte);
    }

    void rest_is_too_much() {
        if (left() > 0)
            d_.problem(ProblemCode::message_too_long, left());
    }

    /// The single bytes before the records, each a value; false after a problem.
    bool head(const char* layout) {
        if (left() < size_of(layout)) {
            d_.problem(ProblemCode::message_cut, report_.id, left());
            return false;
        }
        for (; *layout != '\0'; ++layout) {
            const std::uint8_t byte = d_.message[at_];
            switch (*layout) {
            case 'm':
                hex(d_.request() ? "Status mask" : "Status bits supported", 1, byte);
                break;
            case 's':
                hex(d_.request() ? "Severity mask" : "Severity bits supported", 2, byte);
                break;
            case 'g':
                words("Functional group", byte == 0x33 ? "emissions" : hex_of(byte), 3, byte);
                break;
            case 'f':
                format_ = byte;
                hex("Code format", 4, byte);
                break;
            case 'r':
                record_.group = byte;
                hex("Readiness group", 5, byte);
                break;
            case 'n':
                record_.record = byte;
                hex("Record number", 6, byte);
                break;
            case 'M':
                hex("Memory selection", 7, byte);
                break;
            case 'c':
                count();
                break;
            default:
                field(*layout);
                continue;
            }
            at_ += *layout == 'c' ? 2 : 1;
        }
        return true;
    }

    std::string_view hex_of(std::uint8_t byte) {
        d_.text.clear();
        d_.text.hex(byte, 2);
        return d_.text.view();
    }

    void count() {
        Value value;
        value.id = report_.id;
        value.index = 8;
        value.name = "Number of codes";
        value.raw = static_cast<std::int64_t>(big_endian(d_.message, at_, 2));
        value.number = static_cast<double>(value.raw);
        value.step = 1;
        value.unit = Unit::count;
        d_.sink.value(value);
    }

    /// One field of a record; moves on by its size.
    void field(char letter) {
        const std::uint8_t byte = d_.message[at_];
        switch (letter) {
        case 'd':
            has_code_ = true;
            record_.code = Dtc3::from(static_cast<std::uint32_t>(big_endian(d_.message, at_, 3)));
            code_text_ = record_.code.text();
            at_ += 3;
            return;
        case 't':
            record_.status = byte;
            break;
        case 'S':
            record_.severity = byte;
            break;
        case 'x':
            record_.counter = byte;
            break;
        case 'n':
            record_.record = byte;
            break;
        default: // U: the maker's functional unit
            break;
        }
        ++at_;
    }

    void tell() {
        if (format_ == format_j1939 || format_ == format_iso_11992) {
            d_.text.clear();
            d_.text.hex(record_.code.raw(), 6);
            words("Code of another standard", d_.text.view(), 9, record_.code.raw());
        } else if (record_.code.raw() != 0) {
            d_.sink.dtc3(record_);
        }
    }

    void records() {
        const std::size_t size = size_of(report_.record);
        if (size == 0)
            return rest_is_too_much();
        while (left() >= size) {
            for (const char* letter = report_.record; *letter != '\0'; ++letter)
                field(*letter);
            tell();
        }
        if (left() > 0)
            d_.problem(ProblemCode::message_cut, report_.id, left());
    }

    void snapshots() {
        while (left() > 0) {
            if (left() < 2)
                return d_.problem(ProblemCode::message_cut, report_.id, left());
            const std::uint8_t number = d_.message[at_];
            const unsigned identifiers = d_.message[at_ + 1];
            at_ += 2;
            d_.frame = number;
            for (unsigned i = 0; i < identifiers; ++i) {
                if (left() == 0)
                    return d_.problem(ProblemCode::count_differs, identifiers, i);
                if (!tell_identifier(d_, at_, false))
                    return;
            }
        }
    }

    void bytes() {
        if (left() == 0)
            return;
        if (report_.id == 0x06) { // the first byte is the record's number
            d_.frame = d_.message[at_];
            ++at_;
        }
        d_.text.clear();
        d_.text.hex(d_.message.subspan(at_));
        d_.row_note = "unsure: how the maker lays these bytes out";
        words(report_.id == 0x06 ? "Extended data record" : "Extended data", d_.text.view(), 10, 0);
        d_.row_note = {};
    }

    Decoder& d_;
    const Report& report_;
    DtcRecord record_;
    std::array<char, 8> code_text_{};
    bool has_code_ = false;
    std::uint8_t format_ = 0;
    std::size_t at_ = 2;
};

} // namespace

void decode_code_reports(Decoder& d) {
    if (d.message.size() < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    const auto id = static_cast<std::uint8_t>(d.message[1] & ~suppress_response);
    const Report* report = find(id);
    if (report == nullptr)
        return d.problem(ProblemCode::unknown_id, id);
    Walk walk(d, *report);
    if (d.request())
        walk.request();
    else
        walk.response();
}

void decode_clear(Decoder& d) {
    const std::size_t size = d.message.size();
    if (!d.request()) {
        if (size > 1)
            d.problem(ProblemCode::message_too_long, size - 1);
        return;
    }
    if (size < 4)
        return d.problem(ProblemCode::message_cut, d.header.service, size - 1);
    const auto group = static_cast<std::uint32_t>(big_endian(d.message, 1, 3));
    d.text.clear();
    d.text.hex(group, 6);
    if (group == 0xFFFFFF)
        d.text.add(" (all)");
    else if (group == 0xFFFF33)
        d.text.add(" (emissions)");
    d.told(d.header.service, 0, "Group of codes to clear", d.text.view(), group);
    if (size == 5) { // ISO 14229-1:2020 lets a memory be named
        d.text.clear();
        d.text.hex(d.message[4], 2);
        d.told(d.header.service, 1, "Memory selection", d.text.view(), d.message[4]);
    } else if (size > 5) {
        d.problem(ProblemCode::message_too_long, size - 5);
    }
}

} // namespace telltale::message::detail
