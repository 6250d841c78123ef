// SPDX-License-Identifier: Apache-2.0
#include "store.hpp"

#include <atomic>
#include <cerrno>
#include <condition_variable>
#include <cstring>
#include <functional>
#include <mutex>
#include <system_error>
#include <thread>

#include <fcntl.h>
#include <unistd.h>

namespace telltale::program {

/// The file, and the thread that has the disk keep it: a disk may take its time, frames do not
/// wait.
class Store::File {
  public:
    explicit File(int descriptor) : descriptor_(descriptor), thread_([this] { run(); }) {}
    ~File() {
        {
            const std::lock_guard lock(mutex_);
            over_ = true;
        }
        wake_.notify_one();
        thread_.join();
        ::close(descriptor_);
    }

    Result<void> write(Bytes bytes) {
        while (!bytes.empty()) {
            const auto put = ::write(descriptor_, bytes.data(), bytes.size());
            if (put < 0) {
                if (errno == EINTR)
                    continue;
                return telltale::fail(ErrorCode::cannot_write,
                                      "writing failed: " + std::generic_category().message(errno));
            }
            bytes = bytes.subspan(static_cast<std::size_t>(put));
            written_ += static_cast<std::uint64_t>(put);
        }
        return {};
    }
    /// Has it kept soon.
    void sync() {
        {
            const std::lock_guard lock(mutex_);
            wanted_ = true;
        }
        wake_.notify_one();
    }
    bool sync_now() { return ::fdatasync(descriptor_) == 0 || errno == EINVAL; }
    std::uint64_t written() const { return written_; }
    bool failed() const { return failed_; }

  private:
    void run() {
        std::unique_lock lock(mutex_);
        for (;;) {
            wake_.wait(lock, [this] { return wanted_ || over_; });
            if (over_)
                return;
            wanted_ = false;
            lock.unlock();
            if (!sync_now())
                failed_ = true;
            lock.lock();
        }
    }
    int descriptor_;
    std::uint64_t written_ = 0;
    std::atomic<bool> failed_ = false;
    std::mutex mutex_;
    std::condition_variable wake_;
    bool wanted_ = false;
    bool over_ = false;
    std::thread thread_;
};

namespace {

constexpr Time hold_most = nanoseconds_a_second / 4;
constexpr Time sync_every = nanoseconds_a_second / 2;
constexpr std::size_t block_size = 64U << 10;

/// In front of the bytes of a piece in memory.
struct Head {
    Time time;
    std::uint32_t id; ///< CAN: identifier; DoIP: source and target
    std::uint32_t size;
    std::uint8_t line; ///< index of the variant
    std::uint8_t flags;
    std::uint8_t remote_length;
    bool sent;
};
constexpr std::uint8_t flag_extended = 1;
constexpr std::uint8_t flag_fd = 2;
constexpr std::uint8_t flag_rate = 4;
constexpr std::uint8_t flag_state = 8;
constexpr unsigned kind_shift = 4;

Head head_of(const link::Received& piece, bool sent) {
    Head head{};
    head.time = piece.time;
    head.size = static_cast<std::uint32_t>(link::bytes_of(piece.traffic).size());
    head.line = static_cast<std::uint8_t>(piece.traffic.index());
    head.sent = sent;
    if (const auto* can = std::get_if<CanFrame>(&piece.traffic)) {
        head.id = can->id.value;
        head.flags = static_cast<std::uint8_t>(
            (can->id.extended ? flag_extended : 0) | (can->fd ? flag_fd : 0) |
            (can->bit_rate_switch ? flag_rate : 0) | (can->error_state ? flag_state : 0) |
            static_cast<unsigned>(can->kind) << kind_shift);
        head.remote_length = can->remote_length;
    } else if (const auto* doip = std::get_if<link::DoipMessage>(&piece.traffic)) {
        head.id = static_cast<std::uint32_t>(doip->source) << 16 | doip->target;
    }
    return head;
}

link::Traffic traffic_of(const Head& head, Bytes bytes) {
    if (head.line == 1)
        return link::KlineBytes{bytes};
    if (head.line == 2)
        return link::DoipMessage{static_cast<std::uint16_t>(head.id >> 16),
                                 static_cast<std::uint16_t>(head.id), bytes};
    CanFrame can;
    can.id = {head.id, (head.flags & flag_extended) != 0};
    can.fd = (head.flags & flag_fd) != 0;
    can.bit_rate_switch = (head.flags & flag_rate) != 0;
    can.error_state = (head.flags & flag_state) != 0;
    can.kind = static_cast<CanKind>(head.flags >> kind_shift);
    can.remote_length = head.remote_length;
    can.data = bytes;
    return can;
}

/// What the writer of the dump writes to.
class Pass final : public dump::Sink {
  public:
    explicit Pass(std::function<Result<void>(Bytes)> write) : write_(std::move(write)) {}
    Result<void> write(Bytes bytes) override { return write_(bytes); }

  private:
    std::function<Result<void>(Bytes)> write_;
};

} // namespace

Result<std::unique_ptr<Store>> Store::open(const StoreOptions& options) {
    const int descriptor =
        ::open(options.path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOCTTY, 0666);
    if (descriptor < 0) {
        const int error = errno;
        if (error == EEXIST)
            return telltale::fail(ErrorCode::cannot_open, "'" + options.path +
                                                              "' is there already; name another "
                                                              "file, or move that one away");
        return telltale::fail(error == EISDIR ? ErrorCode::is_directory : ErrorCode::cannot_open,
                              "cannot make '" + options.path +
                                  "': " + std::generic_category().message(error));
    }
    std::unique_ptr<Store> store(new Store(options));
    store->file_ = std::make_shared<File>(descriptor);
    store->writer_.emplace(
        std::make_unique<Pass>([file = store->file_](Bytes bytes) { return file->write(bytes); }),
        options.line, options.line_name, options.comment);
    if (auto flushed = store->writer_->flush(); !flushed)
        return tl::unexpected<Error>(flushed.error());
    return store;
}

Store::~Store() = default;

std::uint64_t Store::bytes() const {
    return file_->written();
}

std::string Store::trouble() const {
    if (!trouble_.empty())
        return trouble_;
    return file_->failed() ? "the disk could not keep what was written" : std::string();
}

void Store::fail(const Error& error) {
    if (trouble_.empty())
        trouble_ = error.detail;
}

void Store::add(const link::Traffic& traffic, Time time, bool sent) {
    ++frames_;
    link::Received received;
    received.traffic = traffic;
    received.time = time;
    Piece piece{link::Kept(received), sent};
    if (options_.keep_before || options_.keep_after) {
        if (keep_until_ == no_time || time > keep_until_) {
            write_held();
            return remember(piece);
        }
    }
    pass(piece);
}

void Store::pass(const Piece& piece) {
    write_held();
    held_ = piece;
    held_comment_ = std::exchange(next_comment_, {});
}

void Store::write_held() {
    if (!held_)
        return;
    write(*held_, held_comment_);
    held_.reset();
    held_comment_.clear();
}

void Store::write(const Piece& piece, std::string_view comment) {
    if (!trouble_.empty())
        return;
    const auto view = piece.kept.view();
    if (const auto written = writer_->write(view.traffic, view.time, piece.sent, comment); !written)
        fail(written.error());
}

void Store::remember(const Piece& piece) {
    const auto view = piece.kept.view();
    const auto head = head_of(view, piece.sent);
    const auto bytes = link::bytes_of(view.traffic);
    const std::size_t size = sizeof head + bytes.size();
    if (blocks_.empty() || blocks_.back().size() + size > blocks_.back().capacity()) {
        blocks_.emplace_back();
        blocks_.back().reserve(std::max(block_size, size));
    }
    auto& block = blocks_.back();
    const auto at = block.size();
    block.resize(at + size);
    std::memcpy(block.data() + at, &head, sizeof head);
    if (!bytes.empty())
        std::memcpy(block.data() + at + sizeof head, bytes.data(), bytes.size());
    waiting_ += size;
    evict(view.time);
}

void Store::evict(Time now) {
    const Time oldest = now - options_.keep_before.value_or(0);
    while (waiting_ != 0) {
        const auto& block = blocks_.front();
        Head head;
        std::memcpy(&head, block.data() + first_, sizeof head);
        const bool crowded = waiting_ > options_.most_bytes;
        if (head.time >= oldest && !crowded)
            return;
        if (head.time >= oldest)
            ++crowded_out_;
        const std::size_t size = sizeof head + head.size;
        first_ += size;
        waiting_ -= size;
        if (first_ == block.size()) {
            blocks_.pop_front();
            first_ = 0;
        }
    }
}

void Store::mark(std::string_view text, Time now) {
    ++marks_;
    const auto note = [&](std::string& comment) {
        if (!comment.empty())
            comment += "; ";
        comment += text.substr(0, 1000);
    };
    if (options_.keep_before || options_.keep_after) {
        evict(now);
        for (; !blocks_.empty(); blocks_.pop_front(), first_ = 0) {
            const auto& block = blocks_.front();
            while (first_ < block.size()) {
                Head head;
                std::memcpy(&head, block.data() + first_, sizeof head);
                link::Received received;
                received.time = head.time;
                received.traffic =
                    traffic_of(head, Bytes(block).subspan(first_ + sizeof head, head.size));
                pass({link::Kept(received), head.sent});
                first_ += sizeof head + head.size;
            }
        }
        waiting_ = 0;
        keep_until_ = std::max(keep_until_, now + options_.keep_after.value_or(0));
    }
    note(held_ ? held_comment_ : next_comment_);
    tick(now);
}

void Store::tick(Time now) {
    if (held_ && now - held_->kept.view().time > hold_most)
        write_held();
    if (synced_ != no_time && now - synced_ < sync_every)
        return;
    synced_ = now;
    const auto before = file_->written();
    if (const auto flushed = writer_->flush(); !flushed)
        fail(flushed.error());
    if (file_->written() != before)
        file_->sync();
}

bool Store::close(Time) {
    write_held();
    if (!next_comment_.empty() && trouble_.empty()) {
        // A mark with nothing after it to hang it on.
        // It would be lost in silence otherwise.
        fail(Error{ErrorCode::cannot_write,
                   "the mark '" + next_comment_ + "' has no frame near it and is not in the file",
                   {}});
    }
    if (const auto flushed = writer_->flush(); !flushed)
        fail(flushed.error());
    if (!file_->sync_now())
        fail(Error{ErrorCode::cannot_write, "the disk could not keep what was written", {}});
    return trouble().empty();
}

} // namespace telltale::program
