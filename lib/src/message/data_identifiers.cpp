// SPDX-License-Identifier: Apache-2.0
// Service 22 of OBDonUDS (read data by identifier): ISO 14229-1, SAE J1979-2.
//
//   request:   22 DID...             two bytes each
//   response:  62 (DID data)...
//
//   F4xx  PID xx, its data as in service 01          F5xx  PIDs from 100
//   F6xx  OBDMID xx: (TID UASID value low high)...   F7xx  OBDMIDs from 100
//   F8xx  InfoType xx: its items, NODI before them or not (both are read: the length tells)
//   F190  VIN (ISO 14229-1, annex C)
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::uint16_t did_vin = 0xF190;
constexpr std::uint8_t vin_of_service_09 = 0x02;
constexpr std::size_t test_size = 8;
constexpr std::uint8_t by_local_id = 0x21;
constexpr std::uint8_t by_data_id = 0x22;

constexpr unsigned page_of(std::uint16_t did) noexcept {
    return did >> 8;
}
constexpr std::uint8_t low_of(std::uint16_t did) noexcept {
    return static_cast<std::uint8_t>(did);
}
constexpr bool is_obd_page(unsigned page) noexcept {
    return page >= 0xF4 && page <= 0xF8;
}

std::string_view did_name(const Decoder& d, std::uint16_t did) {
    const std::uint8_t low = low_of(did);
    const unsigned page = page_of(did);
    if (is_obd_page(page) && is_support_id(low))
        return support_name;
    if (const catalogue::Row* row = page == 0xF4   ? d.pid(low)
                                    : page == 0xF8 ? catalogue::info_type(low)
                                                   : nullptr;
        row != nullptr)
        return row->name;
    if (const catalogue::Name* name = page == 0xF6 ? catalogue::monitor(low) : nullptr;
        name != nullptr)
        return name->name;
    if (const catalogue::Row* row = d.own(by_data_id, did); row != nullptr)
        return row->name;
    return did == did_vin ? "Vehicle identification number" : "Unknown data identifier";
}

/// Which service's support a page of identifiers tells of; 0: of none that the context keeps.
constexpr unsigned service_of(unsigned page) noexcept {
    return page == 0xF4 ? 0x01 : page == 0xF6 ? 0x06 : page == 0xF8 ? 0x09 : 0;
}

/// The items of an InfoType from `at` on. Returns false after a problem.
bool info_items(Decoder& d, std::uint16_t did, const catalogue::Row& row, std::size_t& at) {
    const Bytes rest = d.message.subspan(at);
    const std::size_t length = row.length;
    at = d.message.size();
    if (length == 0) {
        d.row(row, rest, 0x09);
        return true;
    }
    const std::size_t size = rest.size();
    if (size > 1 && rest[0] != 0 && size == 1 + rest[0] * length) {
        tell_info_items(d, row, rest.subspan(1));
    } else if (size != 0 && size % length == 0) {
        tell_info_items(d, row, rest);
    } else if (size > length + 2 && is_obd_page(rest[length])) { // one item, then another DID
        tell_info_items(d, row, rest.first(length));
        at = d.message.size() - size + length;
    } else {
        d.problem(ProblemCode::message_cut, did, size);
        return false;
    }
    return true;
}

/// The row beside the standard's of a data identifier: its own, or that of the PID that it holds.
const catalogue::Row* own_row(const Decoder& d, std::uint16_t did) {
    if (const catalogue::Row* row = d.own(by_data_id, did); row != nullptr)
        return row;
    return page_of(did) == 0xF4 ? d.own(0x01, low_of(did)) : nullptr;
}

/// True when from `at` on known identifiers and their data follow to the very end of the message.
/// Lists of no fixed length count as such.
bool is_whole(const Decoder& d, std::size_t at) {
    const std::size_t size = d.message.size();
    while (at != size) {
        if (size - at < 2)
            return false;
        const auto did = static_cast<std::uint16_t>(big_endian(d.message, at, 2));
        const std::uint8_t low = low_of(did);
        const unsigned page = page_of(did);
        at += 2;
        const catalogue::Row* row = page == 0xF4 ? catalogue::pid(low) : nullptr;
        std::size_t length = 0;
        if (is_obd_page(page) && is_support_id(low)) {
            length = 4;
        } else if (row != nullptr) {
            length = pid_length(*row, size - at);
        } else if (did == did_vin) {
            length = catalogue::info_type(vin_of_service_09)->length;
        } else if (page == 0xF6 || (page == 0xF8 && catalogue::info_type(low) != nullptr)) {
            return at < size;
        } else if (row = own_row(d, did); row != nullptr) {
            length = row->length == 0 ? size - at : row->length;
        } else {
            return false;
        }
        if (size - at < length)
            return false;
        at += length;
    }
    return true;
}

} // namespace

bool tell_identifier(Decoder& d, std::size_t& at, bool live) {
    const std::size_t left = d.message.size() - at;
    if (left < 2) {
        d.problem(ProblemCode::message_cut, d.message[at], 0);
        return false;
    }
    const auto did = static_cast<std::uint16_t>(big_endian(d.message, at, 2));
    const std::uint8_t low = low_of(did);
    const unsigned page = page_of(did);
    at += 2;
    const Bytes rest = d.message.subspan(at);
    const auto cut = [&] {
        d.problem(ProblemCode::message_cut, did, rest.size());
        return false;
    };
    d.id_base = static_cast<std::uint16_t>(did - low);
    if (is_obd_page(page) && is_support_id(low)) {
        if (rest.size() < 4)
            return cut();
        d.support(low, support_name, rest.first(4), service_of(page));
        at += 4;
        return true;
    }
    if (const catalogue::Row* row = page == 0xF4 ? catalogue::pid(low) : nullptr; row != nullptr) {
        const std::size_t length = pid_length(*row, rest.size());
        if (rest.size() < length)
            return cut();
        if (live && d.context != nullptr)
            remember_scaling(low, rest.first(length), *d.context);
        d.row(*row, rest.first(length), 0x01);
        at += length;
        return true;
    }
    if (page == 0xF6 && live) { // records to the end of the message: their number stands nowhere
        if (rest.empty() || rest.size() % test_size != 0)
            return cut();
        for (std::size_t i = 0; i < rest.size(); i += test_size)
            tell_test(d, did, rest.subspan(i, test_size), 0);
        at = d.message.size();
        return true;
    }
    if (const catalogue::Row* row = page == 0xF8 && live ? catalogue::info_type(low) : nullptr;
        row != nullptr)
        return info_items(d, did, *row, at);
    if (did == did_vin) {
        const catalogue::Row& row = *catalogue::info_type(vin_of_service_09);
        if (rest.size() < row.length)
            return cut();
        d.id_base = did_vin - vin_of_service_09;
        tell_info_item(d, row, rest.first(row.length), 0);
        at += row.length;
        return true;
    }
    if (const catalogue::Row* row = own_row(d, did); row != nullptr) {
        const std::size_t length = row->length == 0 ? rest.size() : row->length;
        if (rest.size() < length)
            return cut();
        // The length is only somebody's word: in a message that is otherwise understood the rest
        // must fit too. What follows in a snapshot, its own decoder knows.
        if (live && !is_whole(d, at + length)) {
            d.problem(ProblemCode::message_too_long, rest.size() - length);
            return false;
        }
        d.id_base = static_cast<std::uint16_t>(did - row->id);
        d.row(*row, rest.first(length), by_data_id);
        at += length;
        return true;
    }
    d.problem(ProblemCode::unknown_id, did);
    return false;
}

// Service 21 (read data by local identifier): ISO 14230-3. What stands behind a local identifier is
// the maker's matter: only rows beside the standard's tell.
//
//   request:   21 LID ...       (how it is to be sent, which some ECUs want)
//   response:  61 LID data
void decode_local_identifiers(Decoder& d) {
    if (d.message.size() < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    const std::uint8_t id = d.message[1];
    const catalogue::Row* row = d.own(by_local_id, id);
    if (d.request())
        return d.asked(id, row == nullptr ? "Unknown local identifier" : row->name);
    if (row == nullptr)
        return d.problem(ProblemCode::unknown_id, id);
    const Bytes data = d.message.subspan(2);
    const std::size_t length = row->length == 0 ? data.size() : row->length;
    if (data.size() < length)
        return d.problem(ProblemCode::message_cut, id, data.size());
    if (data.size() > length) // another layout than the one described
        return d.problem(ProblemCode::message_too_long, data.size() - length);
    d.row(*row, data, by_local_id);
}

void decode_data_identifiers(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    if (d.request()) {
        for (std::size_t at = 1; at + 2 <= size; at += 2) {
            const auto did = static_cast<std::uint16_t>(big_endian(d.message, at, 2));
            d.asked(did, did_name(d, did));
        }
        if (size % 2 == 0)
            d.problem(ProblemCode::message_cut, d.message[size - 1], 0);
        return;
    }
    for (std::size_t at = 1; at < size;)
        if (!tell_identifier(d, at, true))
            return;
}

} // namespace telltale::message::detail
