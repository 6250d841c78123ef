// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/base/export.hpp"
#include "telltale/vet/known.hpp"

namespace telltale::vet {

/// The known frames that vetting sends where nobody gives others: every length, identifiers at the
/// edges and walking ones, data of all kinds, remote frames, FD. The same seed gives the same ones.
TELLTALE_API KnownFrames built_in_frames(std::uint64_t seed);

} // namespace telltale::vet
