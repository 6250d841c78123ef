// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/base/bytes.hpp"

namespace telltale::client::detail {

/// Where identifiers stand in the messages of a service.
enum class Form : std::uint8_t {
    service_only,   ///< nowhere: 03, 04, 07, 0A, 14
    first_id,       ///< one, after the service: 05, 08, 09, 19 (subfunction)
    ids,            ///< up to six: 01, 06
    ids_with_frame, ///< identifier and frame number, up to three: 02
    words,          ///< two bytes each: 22
    routine,        ///< subfunction and two bytes: 31
};
Form form_of(std::uint8_t service) noexcept;

/// Whether an answer to request `a` may be taken for one to request `b`.
bool overlap(Bytes a, Bytes b) noexcept;

} // namespace telltale::client::detail
