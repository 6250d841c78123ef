// SPDX-License-Identifier: Apache-2.0
// Common practice throughout: what a workshop says before work begins.
#include <array>

#include "describe.hpp"
#include "telltale/catalogue/codes.hpp"

namespace telltale::vehicle {

namespace {

bool is_misfire(message::Dtc code) {
    return code.raw >= 0x0300 && code.raw <= 0x0312; // P0300 to P0312 (SAE J2012)
}

bool any_code(const Picture& picture, bool (*fits)(message::Dtc)) {
    for (const auto* ecu : picture.ecus())
        for (const auto* list : {&ecu->stored, &ecu->pending, &ecu->permanent})
            for (const auto& code : list->codes)
                if (fits(code.dtc))
                    return true;
    return false;
}

bool has_traction_battery(const Picture& picture) {
    for (const auto* ecu : picture.ecus())
        if (ecu->supported[0x5B] || ecu->pid(0x5B) != nullptr)
            return true;
    return false;
}

} // namespace

std::string_view authority_word(message::Dtc code) {
    switch (message::authority(code)) {
    case message::Authority::standard:
        return "standard";
    case message::Authority::maker:
        return "maker";
    case message::Authority::reserved:
        break;
    }
    return "reserved";
}

std::string code_meaning(const Code& code, const catalogue::Extension* extension) {
    std::array<char, catalogue::max_code_text> buffer;
    std::string meaning(catalogue::describe_code(code.dtc.raw, buffer));
    if (meaning.empty() && extension != nullptr) {
        meaning = extension->code_text(code.dtc.raw, code.failure_type);
        // One that was given with its failure type says all.
        if (!meaning.empty() && extension->code_text(code.dtc.raw) != meaning)
            return meaning;
    }
    if (code.failure_type < 0)
        return meaning;
    const auto failure = catalogue::failure_type(static_cast<std::uint8_t>(code.failure_type));
    if (!meaning.empty() && !failure.empty())
        meaning += "; ";
    meaning += failure;
    return meaning;
}

std::vector<std::string> cautions(const Picture& picture) {
    std::vector<std::string> all = {
        "This is what the vehicle's computers said. It shows where to test, not which part to "
        "replace: prove a fault with a pinpoint test first.",
        "The maker's service information, local rules and licensed practice come before anything "
        "said here.",
        "Do not work on a moving vehicle. Whoever drives a test does not watch the readings: take "
        "a second person, or record and look afterwards.",
        "Run an engine only with its exhaust led away. Keep clear of hot, turning and pressurized "
        "parts; secure the vehicle against rolling.",
        "Before codes are cleared, keep this report: clearing also erases freeze frames and test "
        "results, and the vehicle may fail an inspection until its monitors have run again.",
    };
    if (has_traction_battery(picture))
        all.emplace_back("This vehicle says that it has a traction battery: high voltage can kill. "
                         "Only trained persons work on it, isolated by the maker's procedure.");
    if (any_code(picture, is_misfire))
        all.emplace_back("Misfire codes: unburnt fuel can overheat the catalyst, and a hot exhaust "
                         "can start a fire. While the lamp flashes, do not drive on under load.");
    return all;
}

} // namespace telltale::vehicle
