// SPDX-License-Identifier: Apache-2.0
#include "telltale/catalogue/extension.hpp"

#include <algorithm>
#include <tuple>

#include "extension_data.hpp"

namespace telltale::catalogue {

Extension::Extension() : data_(std::make_unique<Data>()) {}
Extension::~Extension() = default;
Extension::Extension(Extension&&) noexcept = default;
Extension& Extension::operator=(Extension&&) noexcept = default;

std::span<const OwnRow> Extension::rows() const noexcept {
    return data_ == nullptr ? std::span<const OwnRow>{} : data_->rows;
}

std::span<const OwnCode> Extension::codes() const noexcept {
    return data_ == nullptr ? std::span<const OwnCode>{} : data_->codes;
}

const Row* Extension::find(std::uint8_t service, std::uint16_t id, EcuName ecu) const noexcept {
    const auto all = rows();
    // Rows for any ECU (0) stand before those of named ones.
    auto at =
        std::lower_bound(all.begin(), all.end(), std::pair{service, id},
                         [](const OwnRow& own, const std::pair<std::uint8_t, std::uint16_t>& key) {
                             return std::pair{own.service, own.row.id} < key;
                         });
    const Row* any = nullptr;
    if (at != all.end() && at->service == service && at->row.id == id && at->ecu == 0)
        any = &at++->row;
    if (ecu == 0)
        return any;
    at = std::lower_bound(at, all.end(), ecu, [&](const OwnRow& own, EcuName wanted) {
        return own.service == service && own.row.id == id && own.ecu < wanted;
    });
    if (at != all.end() && at->service == service && at->row.id == id && at->ecu == ecu)
        return &at->row;
    return any;
}

bool Extension::has(std::uint8_t service) const noexcept {
    const auto all = rows();
    const auto at = std::lower_bound(
        all.begin(), all.end(), service,
        [](const OwnRow& own, std::uint8_t wanted) { return own.service < wanted; });
    return at != all.end() && at->service == service;
}

std::string_view Extension::code_text(std::uint16_t code,
                                      std::int16_t failure_type) const noexcept {
    const auto all = codes();
    const auto look_up = [&](std::int16_t type) -> std::string_view {
        const auto at = std::lower_bound(
            all.begin(), all.end(), std::pair{code, type},
            [](const OwnCode& own, const std::pair<std::uint16_t, std::int16_t>& key) {
                return std::pair{own.code, own.failure_type} < key;
            });
        return at != all.end() && at->code == code && at->failure_type == type
                   ? std::string_view(at->text)
                   : std::string_view{};
    };
    if (failure_type >= 0)
        if (const auto text = look_up(failure_type); !text.empty())
            return text;
    return look_up(-1);
}

} // namespace telltale::catalogue
