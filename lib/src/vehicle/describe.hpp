// SPDX-License-Identifier: Apache-2.0
// What the two forms of the report share. Internal: nothing here is installed.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/vehicle/picture.hpp"

namespace telltale::vehicle {

/// "7E8", "18DAF110", or empty where the dump gives no identifiers.
inline std::string id_text(const Ecu& ecu) {
    std::string out;
    if (ecu.has_id)
        append_can_id(out, ecu.id);
    return out;
}

inline std::string hex_text(std::uint64_t value, unsigned digits) {
    std::string out;
    append_hex(out, value, digits);
    return out;
}

inline std::string whole_text(std::uint64_t value) {
    std::string out;
    append_integer(out, value);
    return out;
}

inline std::string number_text(double value, unsigned decimals) {
    std::string out;
    append_number(out, value, decimals);
    return out;
}

/// "91 °C", "3.2°".
inline std::string quantity_text(double value, const Shown& how) {
    std::string out = number_text(how(value), how.decimals);
    if (!how.text.empty()) {
        if (how.text != "°")
            out += ' ';
        out += how.text;
    }
    return out;
}

/// Warnings that belong to this vehicle's report, most general first.
std::vector<std::string> cautions(const Picture& picture);

/// "standard", "maker" or "reserved", as SAE J2012 assigns the code.
std::string_view authority_word(message::Dtc code);

/// What a code and its failure type mean in plain words, by the standard or else by the extension
/// (may be null); empty when it is not known here.
std::string code_meaning(const Code& code, const catalogue::Extension* extension);

} // namespace telltale::vehicle
