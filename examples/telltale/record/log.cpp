// SPDX-License-Identifier: Apache-2.0
#include "log.hpp"

#include <spdlog/sinks/basic_file_sink.h>
#include <spdlog/spdlog.h>

namespace telltale::program {

Result<void> log_to(const std::string& path) {
    try {
        const auto logger = spdlog::basic_logger_mt("telltale", path, true);
        logger->set_level(spdlog::level::debug);
        logger->flush_on(spdlog::level::debug);
    } catch (const spdlog::spdlog_ex& error) {
        return fail(ErrorCode::cannot_open, "--log " + path + ": " + error.what());
    }
    return {};
}

} // namespace telltale::program
