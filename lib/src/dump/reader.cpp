// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/reader.hpp"

#include <algorithm>
#include <cstring>
#include <utility>

#include "format_reader.hpp"

namespace telltale::dump {

std::string_view name(Format format) noexcept {
    switch (format) {
    case Format::unknown:
        break;
    case Format::pcap:
        return "pcap";
    case Format::pcapng:
        return "pcapng";
    case Format::can_log:
        return "can-log";
    case Format::can_columns:
        return "can-columns";
    case Format::can_serial:
        return "can-serial";
    case Format::csv:
        return "csv";
    case Format::hex:
        return "hex";
    case Format::line_text:
        return "line-text";
    }
    return "unknown";
}

namespace {

/// How much of a text is looked at to find its format.
constexpr std::size_t text_head = 64U << 10;

/// pcap and pcapng tell themselves by their first four bytes, in either byte order.
Format detect_magic(Bytes head) {
    if (head.size() < 4)
        return Format::unknown;
    switch (big_endian(head, 0, 4)) {
    case 0xA1B2C3D4: // microseconds
    case 0xD4C3B2A1:
    case 0xA1B23C4D: // nanoseconds
    case 0x4D3CB2A1:
        return Format::pcap;
    case 0x0A0D0D0A:
        return Format::pcapng;
    default:
        return Format::unknown;
    }
}

Format detect(Window& window) {
    window.need(4);
    if (const Format format = detect_magic(window.bytes()); format != Format::unknown)
        return format;
    // A live text comes in small pieces: look at each doubling of what is there, so that the first
    // lines are read as soon as they come, and a byte at a time costs no more than it must.
    for (;;) {
        const auto head = window.bytes().first(std::min(window.size(), text_head));
        const bool whole = window.ended() && window.size() <= text_head;
        const Format format = detect_text(head, whole);
        if (format != Format::unknown || window.ended() || window.size() >= text_head)
            return format;
        window.need(std::min(window.size() * 2, text_head));
    }
}

std::unique_ptr<FormatReader> make_reader(Format format) {
    switch (format) {
    case Format::pcap:
        return make_pcap_reader();
    case Format::pcapng:
        return make_pcapng_reader();
    case Format::can_log:
        return make_can_log_reader();
    case Format::can_columns:
        return make_can_columns_reader();
    case Format::can_serial:
        return make_can_serial_reader();
    case Format::csv:
        return make_csv_reader();
    case Format::hex:
        return make_hex_reader();
    case Format::line_text:
        return make_line_text_reader();
    case Format::unknown:
        break;
    }
    return nullptr;
}

} // namespace

class Reader::Impl {
  public:
    Impl(std::unique_ptr<Source> source, const ReaderOptions& options)
        : state_(std::move(source)), format_(options.format) {
        state_.filter = options.filter;
    }

    Result<void> start() {
        state_.window.need(1);
        if (state_.window.size() == 0) {
            if (state_.window.failed())
                return fail(ErrorCode::cannot_read, "the input cannot be read");
            return fail(ErrorCode::empty_input, "the input is empty: there is nothing to decode");
        }
        if (format_ == Format::unknown)
            format_ = detect(state_.window);
        reader_ = make_reader(format_);
        if (reader_ == nullptr)
            return fail(ErrorCode::unknown_format,
                        "the input is no dump of a known form (pcap, pcapng, SocketCAN log, "
                        "serial-line CAN, comma-separated text with a header line, hex lines, "
                        "lines of K-line or J1850)");
        return {};
    }

    Step next(Record& record, Problem& problem) {
        Step step = reader_->next(state_, record, problem);
        if (step == Step::end && state_.window.failed() && !failure_told_) {
            failure_told_ = true;
            problem = Problem{ProblemCode::read_failed, {state_.window.offset(), 0}};
            step = Step::problem;
        }
        state_.counts.bytes = state_.window.offset();
        if (step == Step::problem)
            ++state_.counts.problems;
        return step;
    }

    const ReadState& state() const { return state_; }
    Format format() const { return format_; }

  private:
    ReadState state_;
    Format format_;
    std::unique_ptr<FormatReader> reader_;
    bool failure_told_ = false;
};

Reader::Reader(std::unique_ptr<Impl> impl) noexcept : impl_(std::move(impl)) {}
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;
Reader::~Reader() = default;

Result<Reader> Reader::open(const std::string& path, const ReaderOptions& options) {
    auto source = open_source(path);
    if (!source)
        return tl::unexpected<Error>(std::move(source.error()));
    return from(std::move(*source), options);
}

Result<Reader> Reader::from(std::unique_ptr<Source> source, const ReaderOptions& options) {
    auto impl = std::make_unique<Impl>(std::move(source), options);
    if (auto started = impl->start(); !started)
        return tl::unexpected<Error>(std::move(started.error()));
    return Reader(std::move(impl));
}

Step Reader::next(Record& record, Problem& problem) {
    return impl_->next(record, problem);
}

Format Reader::format() const noexcept {
    return impl_->format();
}

std::string_view Reader::line_name(std::uint16_t line) const noexcept {
    const auto& lines = impl_->state().lines;
    return line < lines.size() ? std::string_view(lines[line]) : std::string_view();
}

const Counts& Reader::counts() const noexcept {
    return impl_->state().counts;
}

std::uint64_t Reader::size() const noexcept {
    return impl_->state().window.source_size();
}

} // namespace telltale::dump
