// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/frame/can.hpp"

namespace telltale::isotp {

/// Addressing formats of ISO 15765-2:2016, 10.3. Normal and normal fixed carry no address byte in
/// the data; extended and mixed put one before the N_PCI.
enum class Addressing : std::uint8_t { normal, normal_fixed, extended, mixed };

/// Who speaks to whom, seen from one side: the identifier and the address byte that its own frames
/// bear, and those of the frames that are meant for it (the N_AI of ISO 15765-2:2016, 8.3).
struct Address {
    Addressing addressing = Addressing::normal;
    CanId tx;
    CanId rx;
    std::uint8_t tx_byte = 0; ///< extended: N_TA of the other side; mixed: N_AE
    std::uint8_t rx_byte = 0; ///< extended: N_TA of this side; mixed: N_AE

    /// Whether a byte of the data goes to the address.
    constexpr bool has_byte() const {
        return addressing == Addressing::extended || addressing == Addressing::mixed;
    }
    /// The same pair seen from the other side.
    constexpr Address reversed() const { return {addressing, rx, tx, rx_byte, tx_byte}; }
    friend constexpr bool operator==(const Address&, const Address&) = default;
};

/// Normal addressing (10.3.2): two identifiers, whatever they are.
constexpr Address normal_address(CanId tx, CanId rx) {
    return {Addressing::normal, tx, rx, 0, 0};
}

/// Normal fixed addressing (10.3.3): 18DA, target, source.
constexpr Address normal_fixed_address(std::uint8_t target, std::uint8_t source) {
    const auto id = [](std::uint32_t to, std::uint32_t from) {
        return CanId{0x18DA0000 | to << 8 | from, true};
    };
    return {Addressing::normal_fixed, id(target, source), id(source, target), 0, 0};
}

/// Extended addressing (10.3.4): the first byte of the data is the target.
constexpr Address extended_address(CanId tx, CanId rx, std::uint8_t target, std::uint8_t source) {
    return {Addressing::extended, tx, rx, target, source};
}

/// Mixed addressing with 11 bits (10.3.5.3): the first byte is the address extension N_AE.
constexpr Address mixed_address(CanId tx, CanId rx, std::uint8_t extension) {
    return {Addressing::mixed, tx, rx, extension, extension};
}

/// Mixed addressing with 29 bits (10.3.5.2): 18CE, target, source, and the extension in the data.
constexpr Address mixed_fixed_address(std::uint8_t target, std::uint8_t source,
                                      std::uint8_t extension) {
    const auto id = [](std::uint32_t to, std::uint32_t from) {
        return CanId{0x18CE0000 | to << 8 | from, true};
    };
    return {Addressing::mixed, id(target, source), id(source, target), extension, extension};
}

/// The tester's side of the pair that ISO 15765-4 gives to the ECU that answers on `response`
/// (7E8 to 7EF, 18DAF1xx).
constexpr Address tester_address(CanId response) {
    return {response.extended ? Addressing::normal_fixed : Addressing::normal, partner_of(response),
            response, 0, 0};
}

} // namespace telltale::isotp
