// SPDX-License-Identifier: Apache-2.0
// Which message can be the answer to which request (SAE J1979, ISO 15031-5; OBDonUDS: ISO 14229-1).
#include "matching.hpp"

#include <algorithm>

#include "telltale/catalogue/catalogue.hpp"
#include "telltale/client/conversation.hpp"

namespace telltale::client {

namespace {

using detail::Form;
using detail::form_of;

constexpr std::size_t most_ids = 6;

bool contains(Bytes ids, std::uint8_t id) {
    return std::find(ids.begin(), ids.end(), id) != ids.end();
}

/// What stands around the identifiers of a response.
struct Layout {
    std::size_t frame = 0; ///< bytes between identifier and data (02)
    std::uint8_t page = 0; ///< the byte before each identifier (22); 0: none
};
constexpr std::uint8_t pid_page = 0xF4; ///< data identifiers F4xx are PIDs (SAE J1979-2)

/// Items of service 01, 02 or 22 from `at` to the end of the response; each identifier must be one
/// of `ids`. The items go to `out`.
std::size_t items(Bytes response, std::size_t at, Bytes ids, Layout layout,
                  std::span<PidData> out) {
    if (layout.page != 0 && (at >= response.size() || response[at++] != layout.page))
        return 0;
    if (at >= response.size())
        return 0;
    const std::uint8_t id = response[at];
    if (out.empty() || !contains(ids, id))
        return 0;
    const std::size_t data = at + 1 + layout.frame;
    if (data > response.size())
        return 0;
    const std::size_t left = response.size() - data;
    const catalogue::Row* row = catalogue::pid(id);
    // Of an identifier that is not in the catalogue the length is not known: only alone.
    const std::size_t usual = row == nullptr || row->length == 0 ? left : row->length;
    const std::size_t other = row == nullptr ? 0 : row->short_length;
    std::size_t found = 0;
    std::size_t found_length = 0;
    for (const std::size_t length : {usual, other}) {
        if (length == 0 || length > left)
            continue;
        out[0] = {id, response.subspan(data, length)};
        if (length == left) {
            found = 1;
            found_length = length;
            break;
        }
        if (const std::size_t more = items(response, data + length, ids, layout, out.subspan(1));
            more != 0) {
            found = 1 + more;
            found_length = length;
            break;
        }
    }
    if (found != 0)
        out[0] = {id, response.subspan(data, found_length)};
    return found;
}

/// The identifiers of a request for data identifiers F4xx alone; none when there are others.
std::size_t parameters_of(Bytes request, std::span<std::uint8_t, most_ids> out) {
    std::size_t count = 0;
    if (request.size() % 2 != 1 || request.size() > 1 + 2 * most_ids)
        return 0;
    for (std::size_t at = 1; at + 1 < request.size(); at += 2) {
        if (request[at] != pid_page)
            return 0;
        out[count++] = request[at + 1];
    }
    return count;
}

} // namespace

namespace detail {

Form form_of(std::uint8_t service) noexcept {
    switch (service) {
    case 0x01:
    case 0x06:
        return Form::ids;
    case 0x02:
        return Form::ids_with_frame;
    case 0x05:
    case 0x08:
    case 0x09:
        return Form::first_id;
    case 0x22:
        return Form::words;
    case 0x10:
    case 0x19:
    case 0x21:
    case 0x3E:
        return Form::first_id;
    case 0x31:
        return Form::routine;
    default:
        return Form::service_only;
    }
}

bool overlap(Bytes a, Bytes b) noexcept {
    if (a.empty() || b.empty() || a[0] != b[0])
        return false;
    switch (form_of(a[0])) {
    case Form::ids:
        return std::any_of(a.begin() + 1, a.end(),
                           [&](std::uint8_t id) { return contains(b.subspan(1), id); });
    case Form::ids_with_frame:
        for (std::size_t i = 1; i < a.size(); i += 2)
            for (std::size_t k = 1; k < b.size(); k += 2)
                if (a[i] == b[k])
                    return true;
        return false;
    case Form::first_id:
        return a.size() < 2 || b.size() < 2 || a[1] == b[1];
    case Form::words:
        for (std::size_t i = 1; i + 1 < a.size(); i += 2)
            for (std::size_t k = 1; k + 1 < b.size(); k += 2)
                if (a[i] == b[k] && a[i + 1] == b[k + 1])
                    return true;
        return false;
    case Form::routine:
    case Form::service_only:
        return true;
    }
    return true;
}

} // namespace detail

bool answers(Bytes response, Bytes request, Dialect dialect) noexcept {
    if (response.empty() || request.empty())
        return false;
    if (response[0] == 0x7F)
        return response.size() >= 3 && response[1] == request[0];
    if (response[0] != (request[0] | 0x40))
        return false;
    const bool old = is_kline(dialect);
    std::array<PidData, most_ids> found;
    switch (form_of(request[0])) {
    case Form::ids:
        if (request[0] == 0x01)
            return items(response, 1, request.subspan(1), {}, found) != 0;
        if (response.size() < 2 || !contains(request.subspan(1), response[1]))
            return false;
        if (old)
            return true;
        // Support bits: five bytes an item. Results: nine, all of one monitor.
        if (response[1] % 0x20 == 0) {
            if (response.size() % 5 != 1)
                return false;
            for (std::size_t at = 1; at < response.size(); at += 5)
                if (!contains(request.subspan(1), response[at]))
                    return false;
            return true;
        }
        if (response.size() % 9 != 1)
            return false;
        for (std::size_t at = 1; at < response.size(); at += 9)
            if (!contains(request.subspan(1), response[at]))
                return false;
        return true;
    case Form::ids_with_frame: {
        std::array<std::uint8_t, most_ids> ids{};
        std::size_t count = 0;
        for (std::size_t at = 1; at + 1 < request.size() && count < most_ids; at += 2)
            ids[count++] = request[at];
        const std::size_t items_found = items(response, 1, Bytes(ids).first(count), {1, 0}, found);
        for (std::size_t i = 0; i < items_found; ++i) {
            const std::uint8_t frame = *(found[i].data.data() - 1);
            bool asked = false;
            for (std::size_t at = 1; at + 1 < request.size(); at += 2)
                asked = asked || (request[at] == found[i].pid && request[at + 1] == frame);
            if (!asked)
                return false;
        }
        return items_found != 0;
    }
    case Form::first_id:
        if (request.size() < 2)
            return response.size() >= 2;
        if (response.size() < 2)
            return false;
        // The highest bit of a subfunction (10, 19, 3E) asks for no positive answer.
        if (((response[1] ^ request[1]) &
             (request[0] >= 0x10 && request[0] != 0x21 ? 0x7F : 0xFF)) != 0)
            return false;
        // Reports on one code (19 04) or one readiness group (19 56: functional group, status bits
        // and code format before it) name it besides.
        if (request[0] == 0x19 && request.size() >= 5 && (request[1] & 0x7F) == 0x04)
            return response.size() >= 5 &&
                   std::equal(response.begin() + 2, response.begin() + 5, request.begin() + 2);
        if (request[0] == 0x19 && request.size() >= 4 && (request[1] & 0x7F) == 0x56)
            return response.size() >= 6 && response[5] == request[3];
        // Service 05 names the sensor besides.
        return request[0] != 0x05 || request.size() < 3 || response.size() < 3 ||
               response[2] == request[2];
    case Form::words:
        if (std::array<std::uint8_t, most_ids> ids{};
            const std::size_t count = parameters_of(request, ids))
            return items(response, 1, Bytes(ids).first(count), {0, pid_page}, found) != 0;
        // Lengths of data identifiers are the maker's: the first one tells.
        return response.size() >= 3 && request.size() >= 3 && response[1] == request[1] &&
               response[2] == request[2];
    case Form::routine:
        return response.size() >= 4 && request.size() >= 4 &&
               std::equal(response.begin() + 1, response.begin() + 4, request.begin() + 1);
    case Form::service_only:
        return true;
    }
    return false;
}

std::size_t split_pids(Bytes response, std::span<const std::uint8_t> asked,
                       std::span<PidData, 6> out) noexcept {
    if (response.size() >= 3 && response[0] == 0x41)
        return items(response, 1, asked, {}, out);
    if (response.size() >= 4 && response[0] == 0x62)
        return items(response, 1, asked, {0, pid_page}, out);
    return 0;
}

} // namespace telltale::client
