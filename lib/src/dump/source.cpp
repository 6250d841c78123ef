// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/source.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace telltale::dump {

namespace {

std::string source_reason(int error) {
    return std::generic_category().message(error);
}

/// A file descriptor, closed with the source when the source opened it.
class DescriptorSource final : public Source {
  public:
    DescriptorSource(int descriptor, bool owned, std::uint64_t size)
        : descriptor_(descriptor), owned_(owned), size_(size) {}
    DescriptorSource(const DescriptorSource&) = delete;
    DescriptorSource& operator=(const DescriptorSource&) = delete;
    ~DescriptorSource() override {
        if (owned_)
            ::close(descriptor_);
    }

    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        for (;;) {
            const auto got = ::read(descriptor_, into.data(), into.size());
            if (got >= 0)
                return static_cast<std::size_t>(got);
            if (errno != EINTR)
                return fail(ErrorCode::cannot_read, "reading failed: " + source_reason(errno));
        }
    }

    std::uint64_t size() const override { return size_; }

  private:
    int descriptor_;
    bool owned_;
    std::uint64_t size_;
};

class MemorySource final : public Source {
  public:
    explicit MemorySource(Bytes bytes) : rest_(bytes), size_(bytes.size()) {}

    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        const auto count = std::min(into.size(), rest_.size());
        if (count != 0)
            std::memcpy(into.data(), rest_.data(), count);
        rest_ = rest_.subspan(count);
        return count;
    }

    std::uint64_t size() const override { return size_; }

  private:
    Bytes rest_;
    std::uint64_t size_;
};

} // namespace

Result<std::unique_ptr<Source>> open_source(const std::string& path) {
    const bool standard_input = path == "-";
    const std::string shown = standard_input ? "standard input" : "'" + path + "'";
    const int descriptor =
        standard_input ? STDIN_FILENO : ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOCTTY);
    if (descriptor < 0)
        return fail(ErrorCode::cannot_open, "cannot open " + shown + ": " + source_reason(errno));

    struct stat status {};
    if (::fstat(descriptor, &status) != 0) {
        const int error = errno;
        if (!standard_input)
            ::close(descriptor);
        return fail(ErrorCode::cannot_open, "cannot open " + shown + ": " + source_reason(error));
    }
    auto source = std::make_unique<DescriptorSource>(
        descriptor, !standard_input,
        S_ISREG(status.st_mode) ? static_cast<std::uint64_t>(status.st_size) : 0);
    if (S_ISDIR(status.st_mode))
        return fail(ErrorCode::is_directory,
                    shown + " is a directory: name the dump files in it instead");
    return source;
}

Result<std::string> read_whole(const std::string& path, std::size_t most) {
    auto source = open_source(path);
    if (!source)
        return tl::unexpected<Error>(std::move(source.error()));
    std::string text;
    std::vector<std::uint8_t> piece(std::size_t{64} * 1024);
    while (text.size() <= most) {
        const auto count = (*source)->read(piece);
        if (!count)
            return tl::unexpected<Error>(count.error());
        if (*count == 0)
            return text;
        text.append(reinterpret_cast<const char*>(piece.data()), *count);
    }
    text.resize(most + 1);
    return text;
}

std::unique_ptr<Source> memory_source(Bytes bytes) {
    return std::make_unique<MemorySource>(bytes);
}

} // namespace telltale::dump
