// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/writer.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <limits>
#include <span>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "packet.hpp"

namespace telltale::dump {

namespace {

std::string sink_reason(int error) {
    return std::generic_category().message(error);
}

class DescriptorSink final : public Sink {
  public:
    DescriptorSink(int descriptor, bool owned) : descriptor_(descriptor), owned_(owned) {}
    DescriptorSink(const DescriptorSink&) = delete;
    DescriptorSink& operator=(const DescriptorSink&) = delete;
    ~DescriptorSink() override {
        if (owned_)
            ::close(descriptor_);
    }

    Result<void> write(Bytes bytes) override {
        while (!bytes.empty()) {
            const auto put = ::write(descriptor_, bytes.data(), bytes.size());
            if (put >= 0)
                bytes = bytes.subspan(static_cast<std::size_t>(put));
            else if (errno != EINTR)
                return fail(ErrorCode::cannot_write, "writing failed: " + sink_reason(errno));
        }
        return {};
    }

  private:
    int descriptor_;
    bool owned_;
};

class MemorySink final : public Sink {
  public:
    explicit MemorySink(std::vector<std::uint8_t>& into) : into_(into) {}
    Result<void> write(Bytes bytes) override {
        into_.insert(into_.end(), bytes.begin(), bytes.end());
        return {};
    }

  private:
    std::vector<std::uint8_t>& into_;
};

/// Gathers bytes, numbers in a byte order of choice, and hands them on in large pieces.
class Gather {
  public:
    explicit Gather(std::unique_ptr<Sink> sink, bool big) : sink_(std::move(sink)), big_(big) {
        buffer_.reserve(room);
    }

    void number(std::uint64_t value, unsigned size) {
        for (unsigned i = 0; i < size; ++i)
            buffer_.push_back(static_cast<std::uint8_t>(value >> 8 * (big_ ? size - 1 - i : i)));
    }
    void bytes(Bytes bytes) { buffer_.insert(buffer_.end(), bytes.begin(), bytes.end()); }
    void text(std::string_view text) { buffer_.insert(buffer_.end(), text.begin(), text.end()); }
    void zeros(std::size_t count) { buffer_.resize(buffer_.size() + count); }
    std::size_t size() const { return buffer_.size(); }

    /// Hands on when enough is there.
    Result<void> done() { return buffer_.size() < large ? Result<void>{} : flush(); }
    Result<void> flush() {
        if (buffer_.empty())
            return {};
        auto written = sink_->write(buffer_);
        buffer_.clear();
        return written;
    }

  private:
    static constexpr std::size_t large = 64U << 10;
    static constexpr std::size_t room = 3 * large;
    std::unique_ptr<Sink> sink_;
    bool big_;
    std::vector<std::uint8_t> buffer_;
};

constexpr std::size_t longest_text = 65'535;

Result<void> check(const CanFrame& frame) {
    const CanId id = frame.kind == CanKind::error ? CanId{frame.id.value, true} : frame.id;
    if (!id.valid())
        return fail(ErrorCode::bad_argument, "the CAN identifier is above its range");
    if (frame.kind == CanKind::remote ? frame.remote_length > 8 || !frame.data.empty() || frame.fd
        : frame.fd                    ? !is_fd_length(frame.data.size())
                                      : frame.data.size() > 8)
        return fail(ErrorCode::bad_argument, "a length that the CAN frame type does not have");
    return {};
}

constexpr std::size_t classic_size = 16;
constexpr std::size_t fd_size = 72;

std::size_t packet_size(const CanFrame& frame) {
    return frame.fd ? fd_size : classic_size;
}

/// The frame as link type 227 has it, in the size that Linux gives it. Returns that size.
std::size_t make_packet(const CanFrame& frame, std::array<std::uint8_t, fd_size>& out) {
    out.fill(0);
    std::uint32_t word = frame.id.value;
    if (frame.kind == CanKind::error)
        word |= can_flag_error;
    else if (frame.id.extended)
        word |= can_flag_extended;
    if (frame.kind == CanKind::remote)
        word |= can_flag_remote;
    for (unsigned i = 0; i < 4; ++i)
        out[i] = static_cast<std::uint8_t>(word >> (24 - 8 * i));
    out[4] = frame.kind == CanKind::remote ? frame.remote_length
                                           : static_cast<std::uint8_t>(frame.data.size());
    if (frame.fd)
        out[5] = static_cast<std::uint8_t>(fd_flag_fd_frame |
                                           (frame.bit_rate_switch ? fd_flag_bit_rate_switch : 0) |
                                           (frame.error_state ? fd_flag_error_state : 0));
    std::copy(frame.data.begin(), frame.data.end(), out.begin() + 8);
    return packet_size(frame);
}

} // namespace

Result<std::unique_ptr<Sink>> open_sink(const std::string& path) {
    if (path == "-")
        return std::make_unique<DescriptorSink>(STDOUT_FILENO, false);
    const int descriptor =
        ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOCTTY, 0666);
    if (descriptor < 0) {
        const int error = errno;
        if (error == EISDIR)
            return fail(ErrorCode::is_directory,
                        "'" + path + "' is a directory: name a file in it instead");
        return fail(ErrorCode::cannot_open, "cannot make '" + path + "': " + sink_reason(error));
    }
    return std::make_unique<DescriptorSink>(descriptor, true);
}

std::unique_ptr<Sink> memory_sink(std::vector<std::uint8_t>& into) {
    return std::make_unique<MemorySink>(into);
}

class PcapngWriter::Impl {
  public:
    Impl(std::unique_ptr<Sink> sink, std::string_view comment) : out_(std::move(sink), false) {
        comment = comment.substr(0, longest_text);
        const std::size_t total = 28 + option_size(comment) + end_size(!comment.empty());
        out_.number(0x0A0D0D0A, 4);
        out_.number(total, 4);
        out_.number(0x1A2B3C4D, 4); // byte order
        out_.number(1, 2);          // version 1.0
        out_.number(0, 2);
        out_.number(std::numeric_limits<std::uint64_t>::max(), 8); // section length not told
        option(1, comment);
        end(!comment.empty());
        out_.number(total, 4);
    }

    Result<std::uint16_t> add_line(std::string_view name, std::string_view comment) {
        if (name.size() > longest_text || comment.size() > longest_text)
            return fail(ErrorCode::too_long, "an interface name or comment above 65535 bytes");
        if (lines_ > std::numeric_limits<std::uint16_t>::max())
            return fail(ErrorCode::bad_argument, "more than 65536 interfaces");
        const std::size_t total = 20 + option_size(comment) + option_size(name) + 8 + 4;
        out_.number(1, 4);
        out_.number(total, 4);
        out_.number(link_can_socketcan, 2);
        out_.number(0, 2);
        out_.number(0, 4); // packets are stored whole
        option(1, comment);
        option(2, name);
        out_.number(9, 2); // if_tsresol: nanoseconds
        out_.number(1, 2);
        out_.number(9, 4);
        end(true);
        out_.number(total, 4);
        if (auto done = out_.done(); !done)
            return tl::unexpected<Error>(std::move(done.error()));
        return static_cast<std::uint16_t>(lines_++);
    }

    Result<void> write(std::uint16_t line, const CanFrame& frame, Time time, Direction direction,
                       std::string_view comment) {
        if (line >= lines_)
            return fail(ErrorCode::bad_argument, "an interface that was not added");
        if (time < 0)
            return fail(ErrorCode::bad_argument, "pcapng needs a time that is not negative");
        if (comment.size() > longest_text)
            return fail(ErrorCode::too_long, "a packet comment above 65535 bytes");
        if (auto checked = check(frame); !checked)
            return checked;
        std::array<std::uint8_t, fd_size> packet;
        const std::size_t size = make_packet(frame, packet);
        const bool flags = direction != Direction::unknown;
        const bool any = flags || !comment.empty();
        const std::size_t total =
            32 + size + option_size(comment) + (flags ? 8 : 0) + end_size(any);
        const auto stamp = static_cast<std::uint64_t>(time);
        out_.number(6, 4);
        out_.number(total, 4);
        out_.number(line, 4);
        out_.number(stamp >> 32, 4);
        out_.number(stamp & 0xFFFF'FFFF, 4);
        out_.number(size, 4);
        out_.number(size, 4);
        out_.bytes(Bytes(packet).first(size));
        option(1, comment);
        if (flags) {
            out_.number(2, 2);
            out_.number(4, 2);
            out_.number(direction == Direction::received ? 1 : 2, 4);
        }
        end(any);
        out_.number(total, 4);
        return out_.done();
    }

    Result<void> flush() { return out_.flush(); }

  private:
    static std::size_t padding(std::size_t size) { return (4 - size % 4) % 4; }
    static std::size_t option_size(std::string_view text) {
        return text.empty() ? 0 : 4 + text.size() + padding(text.size());
    }
    static std::size_t end_size(bool any) { return any ? 4 : 0; }

    void option(unsigned code, std::string_view text) {
        if (text.empty())
            return;
        out_.number(code, 2);
        out_.number(text.size(), 2);
        out_.text(text);
        out_.zeros(padding(text.size()));
    }
    void end(bool any) {
        if (any)
            out_.number(0, 4); // opt_endofopt, length 0
    }

    Gather out_;
    std::uint32_t lines_ = 0;
};

PcapngWriter::PcapngWriter(std::unique_ptr<Sink> sink, std::string_view comment)
    : impl_(std::make_unique<Impl>(std::move(sink), comment)) {}
PcapngWriter::PcapngWriter(PcapngWriter&&) noexcept = default;
PcapngWriter& PcapngWriter::operator=(PcapngWriter&& other) noexcept {
    if (this != &other) {
        if (impl_ != nullptr)
            (void)impl_->flush();
        impl_ = std::move(other.impl_);
    }
    return *this;
}
PcapngWriter::~PcapngWriter() {
    if (impl_ != nullptr)
        (void)impl_->flush();
}

Result<std::uint16_t> PcapngWriter::add_line(std::string_view name, std::string_view comment) {
    return impl_->add_line(name, comment);
}

Result<void> PcapngWriter::write(std::uint16_t line, const CanFrame& frame, Time time,
                                 Direction direction, std::string_view comment) {
    return impl_->write(line, frame, time, direction, comment);
}

Result<void> PcapngWriter::flush() {
    return impl_->flush();
}

class PcapWriter::Impl {
  public:
    Impl(std::unique_ptr<Sink> sink, const PcapOptions& options)
        : out_(std::move(sink), options.big_endian), nanoseconds_(options.nanoseconds) {
        out_.number(nanoseconds_ ? 0xA1B23C4D : 0xA1B2C3D4, 4);
        out_.number(2, 2); // version 2.4
        out_.number(4, 2);
        out_.number(0, 8);
        out_.number(262'144, 4); // bytes stored of a packet at most
        out_.number(link_can_socketcan, 4);
    }

    Result<void> write(const CanFrame& frame, Time time) {
        const Time seconds = time / nanoseconds_a_second;
        if (time < 0 || seconds > std::numeric_limits<std::uint32_t>::max())
            return fail(ErrorCode::bad_argument, "pcap needs a time between 1970 and 2106");
        if (auto checked = check(frame); !checked)
            return checked;
        std::array<std::uint8_t, fd_size> packet;
        const std::size_t size = make_packet(frame, packet);
        const Time rest = time % nanoseconds_a_second;
        out_.number(static_cast<std::uint64_t>(seconds), 4);
        out_.number(static_cast<std::uint64_t>(nanoseconds_ ? rest : rest / 1000), 4);
        out_.number(size, 4);
        out_.number(size, 4);
        out_.bytes(Bytes(packet).first(size));
        return out_.done();
    }

    Result<void> flush() { return out_.flush(); }

  private:
    Gather out_;
    bool nanoseconds_;
};

PcapWriter::PcapWriter(std::unique_ptr<Sink> sink, const PcapOptions& options)
    : impl_(std::make_unique<Impl>(std::move(sink), options)) {}
PcapWriter::PcapWriter(PcapWriter&&) noexcept = default;
PcapWriter& PcapWriter::operator=(PcapWriter&& other) noexcept {
    if (this != &other) {
        if (impl_ != nullptr)
            (void)impl_->flush();
        impl_ = std::move(other.impl_);
    }
    return *this;
}
PcapWriter::~PcapWriter() {
    if (impl_ != nullptr)
        (void)impl_->flush();
}

Result<void> PcapWriter::write(const CanFrame& frame, Time time) {
    return impl_->write(frame, time);
}

Result<void> PcapWriter::flush() {
    return impl_->flush();
}

} // namespace telltale::dump
