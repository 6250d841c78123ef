// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/vet/known.hpp"

namespace telltale::vet {

/// Bounds of `parse_known_frames`.
inline constexpr std::size_t most_known_bytes = 1U << 20; ///< of the text
inline constexpr std::size_t most_known_groups = 64;
inline constexpr std::size_t most_known_frames = 4096;

/// Reads known frames from text as vectors/known-frames.txt has it (its head tells the form):
///
///     file  = *( line LF )                      CR before LF is passed over, LF at the end may
///     miss line  = "" | "#" text
///           | "group" SP id SP title            id of a-z, 0-9, '-'; no two groups share one
///           | "basis" SP text                   of the group before; each has one
///           | "data" SP canid SP bytes          0 to 8 bytes
///           | "remote" SP canid SP digit        0 to 8
///           | ( "fd" | "fd-brs" ) SP canid SP bytes
///     canid = 3HEXDIG | 8HEXDIG                 11 bits, 29 bits
///     bytes = "-" | 1*( 2HEXDIG [SP] )
///
/// Errors: `bad_argument` with the line in `place`: what is wrong there, and what to write;
/// `too_long` above the bounds; `empty_input` where there is no frame.
TELLTALE_API Result<KnownFrames> parse_known_frames(std::string_view text);

/// A frame in a line for people: `123 01 02 03`, `00000123 remote 4`, `123 fd-brs 00 11`. More than
/// 16 bytes are cut: their number follows.
TELLTALE_API std::string describe_frame(const CanFrame& frame);

} // namespace telltale::vet
