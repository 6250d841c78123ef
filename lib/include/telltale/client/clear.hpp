// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/client/session.hpp"
#include "telltale/vehicle/picture.hpp"

/// What changes a vehicle: clearing (service 04, and 14 of OBDonUDS) and actuating (service 08).
/// Each needs a consent that only a person's own words give, and is logged.
namespace telltale::client {

/// What clearing takes away from one ECU, or leaves.
struct EcuLosses {
    CanId id;
    std::vector<std::string> stored;
    std::vector<std::string> pending;
    std::vector<std::string> permanent; ///< stays: only the ECU itself takes these back
    std::size_t freeze_frames = 0;      ///< that hold something
    std::size_t freeze_values = 0;
    std::vector<std::string> complete;   ///< monitors that are complete, and then no longer are
    std::vector<std::string> incomplete; ///< those that are not, as it is
    std::size_t tests = 0;               ///< monitor test results
    bool lamp = false;
};
struct TELLTALE_API Losses {
    std::string vin; ///< empty: no ECU told one
    std::vector<EcuLosses> ecus;
    bool none() const;
    /// What a person has to type, word for word, to consent: it names the vehicle ("clear VIN"),
    /// or, of one that does not tell its VIN, what is lost ("clear 2 codes").
    std::string phrase() const;
};
/// From a picture that was read just before.
TELLTALE_API Losses losses_of(const vehicle::Picture& picture);

/// An actuation: a test that the ECU is to run (service 08).
struct TELLTALE_API Actuation {
    CanId ecu;
    std::uint8_t test = 0; ///< TID
    std::array<std::uint8_t, 5> data{};
    std::string vin;
    /// "actuate 01 of 7E8 on VIN".
    std::string phrase() const;
};

/// A person's consent to one deed on one vehicle. It comes from the words that he typed after he
/// was shown what will be lost or moved, can be used once, and lapses after `lifetime`. There is no
/// other way to make one.
class TELLTALE_API Consent {
  public:
    static constexpr Time lifetime = 120 * nanoseconds_a_second;

    /// Empty when `typed` is not `shown.phrase()`; white space around it does not matter.
    static std::optional<Consent> to_clear(const Losses& shown, std::string_view typed, Time now);
    static std::optional<Consent> to_actuate(const Actuation& shown, std::string_view typed,
                                             Time now);

    Consent() = delete;
    Consent(const Consent&) = delete;
    Consent& operator=(const Consent&) = delete;
    Consent(Consent&& other) noexcept;
    Consent& operator=(Consent&& other) noexcept;
    ~Consent() = default;

    const std::string& phrase() const noexcept { return phrase_; }

  private:
    friend class Clear;
    friend class Actuate;
    Consent(std::string phrase, Time given) : phrase_(std::move(phrase)), given_(given) {}
    /// True once, in time, for this phrase.
    bool use(std::string_view phrase, Time now);

    std::string phrase_;
    Time given_ = no_time;
    bool used_ = false;
};

/// Where it is written down what was done to a vehicle. A line a deed, without newline.
using DeedLog = std::function<void(std::string_view line, Time time)>;

/// What an ECU said.
struct Deed {
    CanId ecu;
    Outcome outcome = Outcome::silence;
    std::uint8_t code = 0;
};

/// Clears codes, freeze frames, readiness and test results of all ECUs (service 04; OBDonUDS:
/// service 14, group FFFF33). Asked once: what is not answered is not repeated.
class TELLTALE_API Clear final : public Task {
  public:
    /// `log` must not be empty: without it, or with a consent that is not to `losses`, was used or
    /// has lapsed, nothing is sent and `refused` says so.
    Clear(const Losses& losses, Consent consent, DeedLog log, bool on_uds = false);

    bool next(Time now, Request& request) override;
    void told(const Exchange& exchange, Time now) override;
    bool done() const override { return over_; }

    bool refused() const noexcept { return refused_; }
    bool sent() const noexcept { return sent_; }
    const std::vector<Deed>& deeds() const noexcept { return deeds_; }
    /// Every ECU that has something to lose said that it has cleared.
    bool cleared_all() const;

  private:
    Losses losses_;
    Consent consent_;
    DeedLog log_;
    bool on_uds_;
    bool asked_ = false;
    bool over_ = false;
    bool refused_ = false;
    bool sent_ = false;
    std::vector<CanId> expected_;
    std::vector<Deed> deeds_;
    std::array<std::uint8_t, 4> bytes_{};
};

/// Has an ECU run a test or move a part (service 08). Asked once.
class TELLTALE_API Actuate final : public Task {
  public:
    Actuate(const Actuation& actuation, Consent consent, DeedLog log);

    bool next(Time now, Request& request) override;
    void told(const Exchange& exchange, Time now) override;
    bool done() const override { return over_; }

    bool refused() const noexcept { return refused_; }
    const Deed& deed() const noexcept { return deed_; }

  private:
    Actuation actuation_;
    Consent consent_;
    DeedLog log_;
    bool asked_ = false;
    bool over_ = false;
    bool refused_ = false;
    Deed deed_;
    std::array<std::uint8_t, 7> bytes_{};
};

/// What is different after clearing.
struct EcuChanges {
    CanId id;
    std::vector<std::string> gone;      ///< codes, stored or pending
    std::vector<std::string> still;     ///< codes that are there as before
    std::vector<std::string> came;      ///< codes that were not there
    std::vector<std::string> permanent; ///< that are there now
    std::size_t freeze_frames = 0;      ///< there now
    std::size_t reset = 0;              ///< monitors that were complete and are not
    std::size_t incomplete = 0;         ///< monitors that are not complete now
    bool lamp_before = false;
    bool lamp_after = false;
    bool heard = true; ///< false: it did not answer any more
};
TELLTALE_API std::vector<EcuChanges> changes_of(const vehicle::Picture& before,
                                                const vehicle::Picture& after);

} // namespace telltale::client
