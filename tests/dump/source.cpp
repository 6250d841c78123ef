// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/source.hpp"

#include "binary_support.hpp"

using namespace binary;

namespace {

/// Gives what it has, then fails.
class FailingSource final : public dump::Source {
  public:
    explicit FailingSource(Buffer bytes) : bytes_(std::move(bytes)) {}
    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        if (bytes_.empty())
            return fail(ErrorCode::cannot_read, "the disk is gone");
        const std::size_t count = std::min(into.size(), bytes_.size());
        std::copy_n(bytes_.begin(), count, into.begin());
        bytes_.erase(bytes_.begin(), bytes_.begin() + static_cast<long>(count));
        return count;
    }

  private:
    Buffer bytes_;
};

std::string open_error(const std::string& path) {
    const auto reader = dump::Reader::open(path);
    return reader ? "opened" : std::string(word(reader.error().code));
}

} // namespace

TEST_CASE("source: a file gives its bytes and its size") {
    const Buffer content = bytes("00 01 02 03 04 05");
    const TemporaryFile file(content);
    auto source = dump::open_source(file.path());
    REQUIRE(source.has_value());
    CHECK((*source)->size() == 6);
    Buffer got(4);
    CHECK((*source)->read(got).value_or(0) == 4);
    CHECK(got == bytes("00010203"));
    CHECK((*source)->read(got).value_or(0) == 2);
    CHECK((*source)->read(got).value_or(9) == 0);
}

TEST_CASE("source: what cannot be opened or read says why") {
    CHECK(open_error("/nowhere/at/all") == "cannot-open");
    CHECK(open_error("/") == "is-directory");
    CHECK(open_error(TemporaryFile().path()) == "empty-input");
    CHECK(read(std::make_unique<FailingSource>(Buffer{})).refused == "cannot-read");

    const auto missing = dump::open_source("/nowhere/at/all");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().detail.find("/nowhere/at/all") != std::string::npos);
}

TEST_CASE("source: what is no dump is refused") {
    // The start of a JPEG file (ITU-T T.81 and JFIF 1.02), and then noise.
    Buffer picture = bytes("FFD8FFE000104A46494600010200006400640000");
    Random random(7);
    for (int i = 0; i < 200'000; ++i)
        picture.push_back(static_cast<std::uint8_t>(random.next()));
    CHECK(read(picture).refused == "unknown-format");
    CHECK(read(Buffer(1, 0)).refused == "unknown-format");
    CHECK(read(Buffer(1'000'000, 0)).refused == "unknown-format");
}

TEST_CASE("source: an input that grows while it is read") {
    class GrowingSource final : public dump::Source {
      public:
        explicit GrowingSource(Bytes bytes) : rest_(bytes) {}
        Result<std::size_t> read(std::span<std::uint8_t> into) override {
            const std::size_t count = std::min(into.size(), rest_.size());
            std::copy_n(rest_.begin(), count, into.begin());
            rest_ = rest_.subspan(count);
            return count;
        }
        std::uint64_t size() const override { return 100; } // when it was opened

      private:
        Bytes rest_;
    };
    const auto frames = mixed_frames(20'000, 22);
    const Buffer file = write_pcap(frames);
    const Reading got = read(std::make_unique<GrowingSource>(file));
    const bool same = got.frames == frames;
    CHECK(same);
    CHECK(got.problems.empty());
}

TEST_CASE("source: a failure in the middle is told after what came before it") {
    const auto frames = mixed_frames(10, 21);
    const Reading got = read(std::make_unique<FailingSource>(write_pcap(frames)));
    const bool same = got.frames == frames;
    CHECK(same);
    REQUIRE(got.problems.size() == 1);
    CHECK(got.problems[0].code == ProblemCode::read_failed);
}

TEST_CASE("reader: finds the binary formats by content") {
    const auto format = [](const Buffer& input) {
        auto reader = dump::Reader::from(dump::memory_source(input));
        return reader ? reader->format() : dump::Format::unknown;
    };
    CHECK(format(write_pcap({})) == dump::Format::pcap);
    CHECK(format(write_pcap({}, {true, true})) == dump::Format::pcap);
    CHECK(format(write_pcapng({})) == dump::Format::pcapng);
    CHECK(dump::name(dump::Format::pcapng) == "pcapng");
}
