// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstring>

#include "guard.hpp"
#include "relay.hpp"

namespace telltale::c {

int read_few_options(const telltale_options* from, UnitSystem& units,
                     const catalogue::Extension*& extension) {
    telltale_options options = TELLTALE_OPTIONS_INIT;
    if (from != nullptr && !copy_options(from, options))
        return TELLTALE_BAD_ARGUMENT;
    if (options.units != TELLTALE_SI && options.units != TELLTALE_US)
        return TELLTALE_BAD_ARGUMENT;
    units = options.units == TELLTALE_US ? UnitSystem::us : UnitSystem::si;
    extension = options.extension == nullptr ? nullptr : options.extension->extension.get();
    return TELLTALE_OK;
}

int read_options(const telltale_options* from, Settings& out, telltale_error* error) {
    telltale_options options = TELLTALE_OPTIONS_INIT;
    if (from != nullptr && !copy_options(from, options))
        return fail(error, TELLTALE_BAD_ARGUMENT,
                    "the options do not say their size, or say more than this library knows: set "
                    "them up with TELLTALE_OPTIONS_INIT");
    if (options.units != TELLTALE_SI && options.units != TELLTALE_US)
        return fail(error, TELLTALE_BAD_ARGUMENT, "units are TELLTALE_SI or TELLTALE_US");
    if (options.addressing < TELLTALE_NORMAL || options.addressing > TELLTALE_MIXED)
        return fail(error, TELLTALE_BAD_ARGUMENT, "no such addressing format");
    if (options.ids == nullptr && options.id_count != 0)
        return fail(error, TELLTALE_BAD_ARGUMENT, "ids is null and id_count is not 0");
    out.units = options.units == TELLTALE_US ? UnitSystem::us : UnitSystem::si;
    out.frames = options.frames != 0;
    out.chooser = options.chooser;
    out.chooser_user = options.chooser_user;
    if (options.extension != nullptr) {
        out.extension = options.extension->extension;
        out.stream.extension = out.extension.get();
    }
    out.stream.isotp.addressing = static_cast<isotp::Addressing>(options.addressing);
    constexpr std::size_t most_ids = 4096;
    if (options.id_count > most_ids)
        return fail(error, TELLTALE_TOO_LONG, "more than 4096 entries in ids");
    for (std::size_t i = 0; i < options.id_count; ++i) {
        const telltale_identifiers& ids = options.ids[i];
        if ((ids.flags & TELLTALE_EXTENDED) != 0) {
            if (ids.value > CanId::max_extended)
                return fail(error, TELLTALE_BAD_ARGUMENT, "an identifier has more than 29 bits");
            if (!out.stream.filter.add_extended(ids.value, ids.mask & CanId::max_extended))
                return fail(error, TELLTALE_TOO_LONG,
                            "more identifiers of 29 bits than there is room for");
            continue;
        }
        if (ids.value > CanId::max_standard)
            return fail(error, TELLTALE_BAD_ARGUMENT, "an identifier has more than 11 bits");
        for (std::uint32_t id = 0; id <= CanId::max_standard; ++id)
            if (((id ^ ids.value) & ids.mask) == 0)
                out.stream.filter.add_standard(id);
    }
    return TELLTALE_OK;
}

} // namespace telltale::c
