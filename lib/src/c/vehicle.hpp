// SPDX-License-Identifier: Apache-2.0
// The vehicle's handle, which streams and dumps know. Internal: nothing here is installed.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "extension.hpp"
#include "guard.hpp"
#include "relay.hpp"
#include "telltale.h"

struct telltale_vehicle : telltale::c::Handle {
    /// What was taken down of one ECU.
    struct Seen {
        telltale_ecu ecu{};
        std::vector<telltale_code> codes;
        std::vector<telltale_monitor> monitors;
        std::vector<telltale_signal> signals;
    };

    std::shared_ptr<telltale::c::SharedPicture> shared =
        std::make_shared<telltale::c::SharedPicture>();
    telltale::c::SharedExtension extension; ///< may be null: what codes mean beside the standard's
    std::string source;                     ///< of a dump that it was loaded from, for the report
    std::string format;
    std::uint64_t frames = 0;
    std::string json;
    std::string text;

    // the latest look
    telltale::c::Arena arena;
    telltale_vehicle_facts facts{};
    std::vector<Seen> seen;
};
