// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "drive.hpp"
#include "model.hpp"
#include "scan.hpp"

namespace telltale::run {

/// Why what was found may be no fault: each takes from the score of a hit where it holds.
class Allowances {
  public:
    /// All of them but `bad` itself are to outlive this; `comparable`: the signals that can be held
    /// against another drive.
    Allowances(const Drive& good, const std::vector<const Drive*>& bad, const Survey& survey,
               const std::vector<char>& comparable);

    /// Where the good run hardly was, it says little of what is normal there: what lasts counts for
    /// less beside a value that it seldom had.
    void for_the_unfamiliar(std::size_t k, const Trace& beside, Hit& hit);
    /// What the ECU works out goes to where it rests (a cut of the fuel) and back when it likes:
    /// next to nothing where the good run went there as well, unless what lasts is grossly off and
    /// as far elsewhere. `beside`: what is expected, sample by sample.
    void for_rest(std::size_t k, const Drive& bad, const Trace& beside, Hit& hit);
    /// A cold engine is not governed as a warm one is: of what the ECU governs, what stands still
    /// meanwhile counts for next to nothing, and what goes otherwise for less, where the good run
    /// was warm all the time. A leap is one all the same. `track`: the signal's in that drive.
    void for_the_cold(std::size_t run, const Track& track, Hit& hit) const;
    /// Until when it was so, in seconds from a drive's start.
    double cold_until(std::size_t run) const { return cold_until_[run]; }
    /// What several sensors do at once is how it was driven: of a signal that goes with others, a
    /// moment counts for less where some of them went away and came back as well.
    void for_company(std::size_t k, const Drive& bad, Hit& hit) const;
    /// What a second sensor of the same thing did as well, a moment or standing still, happened to
    /// the thing: it counts for less.
    void for_its_twin(std::size_t k, const Drive& bad, Hit& hit) const;

  private:
    bool goes_to_rest(std::size_t k) const;
    double familiar(std::size_t k, float value);

    const Drive* good_;
    const Survey* survey_;
    const std::vector<char>* comparable_;
    std::vector<double> cold_until_;                ///< of each bad drive
    std::vector<std::optional<char>> goes_to_rest_; ///< by signal
    std::vector<std::vector<float>> values_;        ///< of the good run, thinned, in order
};

} // namespace telltale::run
