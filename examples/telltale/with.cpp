// SPDX-License-Identifier: Apache-2.0
#include "with.hpp"

#include <CLI/App.hpp>

#include "output.hpp"
#include "telltale/base/number.hpp"
#include "telltale/dump/source.hpp"

namespace telltale::program {

void add_with_option(CLI::App& command, std::vector<std::string>& files) {
    command
        .add_option("--with", files,
                    "A file with parameters and codes beside the standard's, in the columns of "
                    "`telltale catalogue --as csv`; may be given several times")
        ->type_name("FILE")
        ->allow_extra_args(false);
}

std::shared_ptr<const catalogue::Extension> read_with(const std::vector<std::string>& files) {
    if (files.empty())
        return std::make_shared<const catalogue::Extension>();
    std::vector<std::string> texts;
    for (const auto& file : files) {
        auto text = dump::read_whole(file, catalogue::Extension::max_text);
        if (!text) {
            say(file, text.error().detail);
            return nullptr;
        }
        texts.push_back(std::move(*text));
    }
    std::vector<catalogue::ExtensionText> named;
    for (std::size_t i = 0; i < files.size(); ++i)
        named.push_back({files[i], texts[i]});
    auto extension = catalogue::read_extension(named);
    if (extension)
        return std::make_shared<const catalogue::Extension>(std::move(*extension));
    std::string_view lines = extension.error().detail;
    while (!lines.empty()) { // a fault each
        const auto end = std::min(lines.find('\n'), lines.size());
        say(lines.substr(0, end));
        lines.remove_prefix(std::min(end + 1, lines.size()));
    }
    return nullptr;
}

} // namespace telltale::program
