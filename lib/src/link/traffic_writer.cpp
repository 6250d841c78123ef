// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/traffic_writer.hpp"

#include <optional>
#include <string>

#include "telltale/base/hex.hpp"
#include "telltale/base/text.hpp"

namespace telltale::link {

class TrafficWriter::Impl {
  public:
    Impl(std::unique_ptr<dump::Sink> sink, LineKind line, std::string_view name,
         std::string_view comment)
        : line_(line) {
        if (line == LineKind::can) {
            pcapng_.emplace(std::move(sink), comment);
            added_ = pcapng_->add_line(name);
            return;
        }
        sink_ = std::move(sink);
        remark(name);
        remark(comment);
    }

    Result<void> write(const Traffic& traffic, Time time, bool sent, std::string_view comment) {
        if (line_ == LineKind::can) {
            if (!added_)
                return tl::unexpected<Error>(added_.error());
            const auto* can = std::get_if<CanFrame>(&traffic);
            if (can == nullptr)
                return other();
            return pcapng_->write(*added_, *can, time,
                                  sent ? dump::Direction::sent : dump::Direction::received,
                                  comment);
        }
        remark(comment);
        if (const auto* kline = std::get_if<KlineBytes>(&traffic)) {
            if (line_ != LineKind::kline || kline->frame.empty())
                return other();
            append_seconds(text_, time);
            text_ += " kline ";
        } else if (const auto* doip = std::get_if<DoipMessage>(&traffic);
                   doip != nullptr && line_ == LineKind::doip && !doip->bytes.empty()) {
            text_ += "# ";
            append_seconds(text_, time);
            text_ += ' ';
            append_hex(text_, doip->source, 4);
            text_ += " to ";
            append_hex(text_, doip->target, 4);
            text_ += '\n';
        } else {
            return other();
        }
        append_hex(text_, bytes_of(traffic), ' ');
        text_ += '\n';
        return text_.size() < most_text ? Result<void>{} : flush();
    }

    Result<void> flush() {
        if (pcapng_)
            return pcapng_->flush();
        const std::string text = std::exchange(text_, {});
        return text.empty() ? Result<void>{}
                            : sink_->write({reinterpret_cast<const std::uint8_t*>(text.data()),
                                            text.size()});
    }

  private:
    static constexpr std::size_t most_text = 64U << 10;

    static tl::unexpected<Error> other() {
        return fail(ErrorCode::bad_argument, "a piece that this dump cannot hold");
    }
    void remark(std::string_view comment) {
        if (comment.empty())
            return;
        text_ += "# ";
        append_plain(text_, comment);
        text_ += '\n';
    }

    LineKind line_;
    std::optional<dump::PcapngWriter> pcapng_;
    Result<std::uint16_t> added_{0};
    std::unique_ptr<dump::Sink> sink_;
    std::string text_;
};

TrafficWriter::TrafficWriter(std::unique_ptr<dump::Sink> sink, LineKind line, std::string_view name,
                             std::string_view comment)
    : impl_(std::make_unique<Impl>(std::move(sink), line, name, comment)) {}
TrafficWriter::TrafficWriter(TrafficWriter&&) noexcept = default;
TrafficWriter& TrafficWriter::operator=(TrafficWriter&& other) noexcept {
    if (this != &other) {
        if (impl_ != nullptr)
            (void)impl_->flush();
        impl_ = std::move(other.impl_);
    }
    return *this;
}
TrafficWriter::~TrafficWriter() {
    if (impl_ != nullptr)
        (void)impl_->flush();
}

Result<void> TrafficWriter::write(const Traffic& traffic, Time time, bool sent,
                                  std::string_view comment) {
    return impl_->write(traffic, time, sent, comment);
}
Result<void> TrafficWriter::flush() {
    return impl_->flush();
}

} // namespace telltale::link
