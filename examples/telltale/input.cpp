// SPDX-License-Identifier: Apache-2.0
#include "input.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/run/feed.hpp"
#include "with.hpp"

namespace telltale::program {

namespace {

constexpr std::array<std::pair<std::string_view, isotp::Addressing>, 4> addressings = {{
    {"normal", isotp::Addressing::normal},
    {"normal-fixed", isotp::Addressing::normal_fixed},
    {"extended", isotp::Addressing::extended},
    {"mixed", isotp::Addressing::mixed},
}};

constexpr std::array formats = {
    dump::Format::pcap,        dump::Format::pcapng,     dump::Format::can_log,
    dump::Format::can_columns, dump::Format::can_serial, dump::Format::csv,
    dump::Format::hex,         dump::Format::line_text,
};

/// A source that writes out what there is before it waits for more.
class LiveSource : public dump::Source {
  public:
    LiveSource(std::unique_ptr<dump::Source> source, Output& output)
        : source_(std::move(source)), output_(output) {}
    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        pollfd ready{STDIN_FILENO, POLLIN, 0};
        if (::poll(&ready, 1, 0) == 0)
            output_.flush();
        return source_->read(into);
    }
    std::uint64_t size() const override { return source_->size(); }

  private:
    std::unique_ptr<dump::Source> source_;
    Output& output_;
};

Result<dump::Reader> open_dump(const std::string& file, const dump::ReaderOptions& options,
                               Output& output) {
    if (file != "-")
        return dump::Reader::open(file, options);
    auto source = dump::open_source(file);
    if (!source)
        return tl::unexpected<Error>(source.error());
    return dump::Reader::from(std::make_unique<LiveSource>(std::move(*source), output), options);
}

/// Digits of one identifier into value and mask; x matches any digit.
bool read_pattern(std::string_view text, std::uint32_t& value, std::uint32_t& mask) {
    if (text.empty() || text.size() > 8)
        return false;
    value = mask = 0;
    for (const char c : text) {
        const bool any = c == 'x' || c == 'X';
        const auto digit = hex_digit(c);
        if (!any && digit == 0xFF)
            return false;
        value = value << 4 | (any ? 0U : digit);
        mask = mask << 4 | (any ? 0U : 0xFU);
    }
    return true;
}

tl::unexpected<Error> bad_identifier(std::string_view text) {
    return fail(ErrorCode::bad_argument,
                "'" + std::string(text) +
                    "' is no identifier; write 3 hex digits (6F1), a range of them (700-70F), or 8 "
                    "(18DB33F1); x stands for any digit (18DAxxF1)");
}

} // namespace

Result<int> add_identifiers(CanFilter& filter, std::string_view text) {
    std::uint32_t value = 0;
    std::uint32_t mask = 0;
    if (const auto dash = text.find('-'); dash != std::string_view::npos) {
        std::uint32_t last = 0;
        std::uint32_t last_mask = 0;
        if (!read_pattern(text.substr(0, dash), value, mask) ||
            !read_pattern(text.substr(dash + 1), last, last_mask) || dash != 3 ||
            text.size() != 7 || last < value || last > CanId::max_standard ||
            text.find_first_of("xX") != std::string_view::npos)
            return bad_identifier(text);
        for (std::uint32_t id = value; id <= last; ++id)
            filter.add_standard(id);
        return 0;
    }
    if (!read_pattern(text, value, mask))
        return bad_identifier(text);
    if (text.size() == 3) {
        if (value > CanId::max_standard)
            return bad_identifier(text);
        for (std::uint32_t id = 0; id <= CanId::max_standard; ++id)
            if ((id & mask) == value)
                filter.add_standard(id);
        return 0;
    }
    if (text.size() != 8 || value > CanId::max_extended)
        return bad_identifier(text);
    if (!filter.add_extended(value, mask))
        return fail(ErrorCode::bad_argument,
                    "more 29-bit identifiers than there is room for; x stands for any digit "
                    "(18DAxxF1)");
    return 0;
}

void add_dump_options(CLI::App& command, InputOptions& options) {
    command
        .add_option("--ids", options.ids,
                    "More identifiers that carry diagnostics, besides those of ISO 15765-4: 6F1, "
                    "700-70F, 18DAxxF1")
        ->delimiter(',')
        ->type_name("ID,...")
        ->allow_extra_args(false);
    std::vector<std::string> names;
    for (const auto& [name, value] : addressings)
        names.emplace_back(name);
    command
        .add_option("--addressing", options.addressing,
                    "Addressing format of ISO 15765-2 (default: normal)")
        ->check(CLI::IsMember(names))
        ->type_name("FORM");
    names.clear();
    for (const auto format : formats)
        names.emplace_back(dump::name(format));
    command
        .add_option("--format", options.format,
                    "Take the input for this format instead of finding it by content")
        ->check(CLI::IsMember(names))
        ->type_name("FORMAT");
    add_with_option(command, options.with);
}

void add_input_options(CLI::App& command, InputOptions& options) {
    command
        .add_option("FILE", options.files,
                    "Dumps to read, or folders of them; - or none is standard input")
        ->type_name("");
    add_dump_options(command, options);
}

Result<InputSettings> read_input_options(const InputOptions& options) {
    InputSettings settings;
    settings.files = options.files;
    if (settings.files.empty()) {
        if (::isatty(STDIN_FILENO) == 1)
            return fail(ErrorCode::bad_argument,
                        "no input: name a dump, or pipe one into standard input");
        settings.files.emplace_back("-");
    }
    settings.extension = read_with(options.with);
    if (settings.extension == nullptr)
        return fail(ErrorCode::bad_argument, "--with: nothing was done, for the faults above");
    if (!settings.extension->empty())
        settings.stream.extension = settings.extension.get();
    for (const auto& ids : options.ids)
        if (const auto added = add_identifiers(settings.stream.filter, ids); !added)
            return tl::unexpected<Error>(added.error());
    for (const auto& [name, value] : addressings)
        if (name == options.addressing)
            settings.stream.isotp.addressing = value;
    for (const auto format : formats)
        if (dump::name(format) == options.format)
            settings.format = format;
    return settings;
}

void PictureWatcher::closed() {
    picture_.finish();
    picture_.name_lines([&](std::uint16_t line) { return reader_->line_name(line); });
}

bool read_dump(const std::string& file, const InputSettings& settings, Output& output,
               message::Listener& listener, DumpWatcher& watcher, bool* no_dump) {
    dump::ReaderOptions options;
    options.filter = &settings.stream.filter;
    options.format = settings.format;
    auto reader = open_dump(file, options, output);
    if (!reader) {
        const auto code = reader.error().code;
        if (no_dump != nullptr &&
            (code == ErrorCode::unknown_format || code == ErrorCode::empty_input))
            *no_dump = true;
        else
            output.say(file, reader.error().detail);
        return false;
    }
    message::Stream stream(settings.stream);
    watcher.opened(*reader);
    dump::Record record;
    Problem problem;
    for (bool more = true; more && watcher.goes_on();) {
        switch (reader->next(record, problem)) {
        case dump::Step::record:
            if (!record.comment.empty())
                watcher.comment(record.comment, record.time);
            run::feed(stream, record, listener);
            break;
        case dump::Step::problem:
            run::tell(problem, listener);
            break;
        case dump::Step::end:
            more = false;
            break;
        }
    }
    stream.finish(listener);
    watcher.closed();
    return true;
}

} // namespace telltale::program
