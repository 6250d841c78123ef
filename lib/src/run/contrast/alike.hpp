// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <vector>

#include "model.hpp"
#include "scan.hpp"

namespace telltale::run {

/// The same drive twice, second by second: a cycle on a rolling road, a simulation, a recording
/// played again. Each signal is held against itself at the same time then, besides all else.
class Alike {
  public:
    /// `comparable`: signals that are looked at, by place.
    Alike(const Drive& good, const Drive& bad, const Survey& survey,
          const std::vector<char>& comparable);

    /// Whether nearly all that moves goes the same way in both.
    bool same() const { return same_; }
    /// Where a signal goes elsewhere and most others do not, the strongest first; the sign is
    /// `Sign::unlike`. Nothing where the drives are not the same.
    std::vector<Hit> hits(std::size_t signal) const {
        return same_ ? hits_[signal] : std::vector<Hit>{};
    }
    /// What the other drive had at the samples of this one.
    Trace trace(std::size_t signal) const;

  private:
    /// A stretch of samples off by more than is normal.
    struct Off {
        Hit hit;
        double from = 0; ///< seconds
        double to = 0;
    };
    static std::vector<Off> look(const Trace& trace, double step);
    static std::vector<Hit> alone(const std::vector<Off>& mine,
                                  const std::vector<std::vector<Off>>& all);

    const Drive* good_;
    const Drive* bad_;
    const Survey* survey_;
    bool same_ = false;
    std::vector<std::vector<Hit>> hits_; ///< of each signal
};

} // namespace telltale::run
