// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "clock.hpp"

namespace telltale::vet {

/// How often it is told how far it is.
class Pace {
  public:
    /// True five times a second at most.
    bool due(Time now) {
        if (now < next_)
            return false;
        next_ = now + 200 * ms;
        return true;
    }
    /// So much of `whole` is over, 0 to 1.
    static double part(Time over, Time whole) {
        return over >= whole ? 1 : static_cast<double>(over) / static_cast<double>(whole);
    }

  private:
    Time next_ = 0;
};

} // namespace telltale::vet
