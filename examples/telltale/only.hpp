// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <string>
#include <vector>

#include "telltale/base/result.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/run/watch.hpp"

namespace telltale::program {

/// Which values a user wants to see: all, or those that `--only` names.
class Only {
  public:
    /// Each text is an identifier in hex (`0C`: PID 0C of service 01; `09:02`: InfoType 02 of
    /// service 09; `F40C`: a data identifier of service 22; `21:01`: a local identifier), a whole
    /// service (`03:`), a short name
    /// of SAE J1979 (`RPM`), or what a watch list may hold (`14.1`, `7E8:0C`, `Engine speed`).
    /// `picks` are further entries, out of watch lists. Errors: `bad_argument`.
    /// `extension` has names beside the standard's; it may be null and must outlive the result.
    static Result<Only> read(const std::vector<std::string>& texts,
                             std::vector<run::Pick> picks = {},
                             const catalogue::Extension* extension = nullptr);

    bool everything() const { return everything_; }

    /// False when no value of this message is wanted: it need not be decoded. Costs a look at its
    /// bytes.
    bool wants(const message::Said& said) const { return everything_ || may_hold(said); }
    bool wants(const message::Said& said, const message::Value& value) const {
        return everything_ || named(said, value);
    }
    bool wants_service(std::uint8_t service) const {
        return everything_ || (service < services && whole_[service]);
    }

  private:
    static constexpr std::size_t services = 64;
    struct Field {
        std::uint8_t service;
        std::uint16_t id;
        std::string key;
    };

    bool add(std::string_view text);
    bool add_key(std::string_view key);
    void may_hold_own(const catalogue::OwnRow& own);
    bool may_hold(const message::Said& said) const;
    bool named(const message::Said& said, const message::Value& value) const;
    bool add_pick(run::Pick pick);

    const catalogue::Extension* extension_ = nullptr;
    bool everything_ = true;
    std::bitset<services> whole_;                    ///< every value of the service
    std::bitset<services> some_;                     ///< some values of the service
    std::array<std::bitset<256>, 11> first_bytes_{}; ///< what a message must hold, by service
    std::array<std::bitset<256>, 11> ids_{};         ///< whole identifiers wanted, by service
    std::vector<std::uint16_t> data_ids_;            ///< of service 22
    std::bitset<256> local_ids_;                     ///< of service 21
    std::vector<Field> fields_;                      ///< single fields
    std::vector<run::Pick> picks_;                   ///< entries of watch lists
};

} // namespace telltale::program
