// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <unistd.h>

#include <cstdio>
#include <string>
#include <string_view>

#include "telltale/base/number.hpp"

namespace telltale::program {

/// One line on standard error that is written anew while something is done.
class Progress {
  public:
    explicit Progress(bool wanted) : wanted_(wanted && ::isatty(2) != 0) {}
    ~Progress() { clear(); }
    Progress(const Progress&) = delete;
    Progress& operator=(const Progress&) = delete;

    void show(std::string_view what, double part) {
        if (!wanted_)
            return;
        std::string text = "\r\033[K";
        append_number(text, 100 * part, 0);
        text += " % ";
        text.append(what);
        put(text);
        shown_ = true;
    }
    void clear() {
        if (shown_)
            put("\r\033[K");
        shown_ = false;
    }

  private:
    static void put(const std::string& text) {
        (void)!std::fwrite(text.data(), 1, text.size(), stderr);
        std::fflush(stderr);
    }
    bool wanted_;
    bool shown_ = false;
};

} // namespace telltale::program
