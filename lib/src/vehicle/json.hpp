// SPDX-License-Identifier: Apache-2.0
// A few lines that write JSON in a fixed order. Internal: nothing here is installed.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"
#include "telltale/base/time.hpp"

namespace telltale::vehicle {

/// Writes values one after the other; sets the commas.
class Json {
  public:
    explicit Json(std::string& out) : out_(out) {}

    Json& key(std::string_view name) {
        comma();
        append_json(out_, name);
        out_ += ':';
        fresh_ = true;
        return *this;
    }
    void open(char bracket) {
        comma();
        out_ += bracket;
        fresh_ = true;
    }
    void close(char bracket) {
        out_ += bracket;
        fresh_ = false;
    }
    void text(std::string_view value) {
        comma();
        append_json(out_, value);
    }
    void whole(std::uint64_t value) {
        comma();
        append_integer(out_, value);
    }
    void number(double value, bool converted = false) {
        comma();
        append_exact(out_, value, converted);
    }
    void boolean(bool value) {
        comma();
        out_ += value ? "true" : "false";
    }
    void null() {
        comma();
        out_ += "null";
    }
    /// Seconds, or null.
    void time(Time value) {
        comma();
        if (value == no_time)
            out_ += "null";
        else
            append_seconds(out_, value);
    }
    void text_or_null(std::string_view value) {
        if (value.empty())
            null();
        else
            text(value);
    }

  private:
    void comma() {
        if (!fresh_)
            out_ += ',';
        fresh_ = false;
    }
    std::string& out_;
    bool fresh_ = true;
};

} // namespace telltale::vehicle
