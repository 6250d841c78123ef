// SPDX-License-Identifier: Apache-2.0
#include "log.hpp"

#include <string>

#include <spdlog/spdlog.h>

#include "telltale/base/text.hpp"

namespace telltale::link {

namespace {

void write(spdlog::level::level_enum level, std::string_view link, std::string_view text) {
    const auto logger = spdlog::get("telltale");
    if (logger == nullptr || !logger->should_log(level))
        return;
    std::string line;
    append_plain(line, link);
    line += ": ";
    append_plain(line, text);
    logger->log(level, line);
}

} // namespace

void log_debug(std::string_view link, std::string_view text) {
    write(spdlog::level::debug, link, text);
}
void log_warning(std::string_view link, std::string_view text) {
    write(spdlog::level::warn, link, text);
}

} // namespace telltale::link
