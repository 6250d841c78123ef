// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/link/traffic_writer.hpp"

namespace telltale::program {

struct StoreOptions {
    std::string path; ///< made anew; never one that is there already
    link::LineKind line = link::LineKind::can;
    std::string line_name;
    std::string comment; ///< about the whole recording
    /// Both not set: everything is kept. Otherwise what lies so long before and after each mark.
    std::optional<Time> keep_before;
    std::optional<Time> keep_after;
    std::size_t most_bytes = 256U << 20; ///< of what waits for a mark, in memory
};

/// A recording on its way into its file: what was seen a second ago is on the disk, and the file
/// can be read up to there whatever happens.
///
/// A mark is the comment of the packet nearest before it, of the next one where that is already
/// written.
class Store {
  public:
    /// Errors: `cannot_open` (also when the file is there already), `is_directory`.
    static Result<std::unique_ptr<Store>> open(const StoreOptions& options);
    Store(const Store&) = delete;
    Store& operator=(const Store&) = delete;
    ~Store();

    void add(const link::Traffic& traffic, Time time, bool sent);
    void mark(std::string_view text, Time now);
    /// To be called at least twice a second: writes what waits, and has the disk keep it.
    void tick(Time now);
    /// Writes everything; true when nothing was lost on the way to the disk.
    bool close(Time now);

    std::uint64_t frames() const { return frames_; }
    std::uint64_t bytes() const; ///< in the file
    std::uint64_t marks() const { return marks_; }
    /// What went out of the memory before its time was over, because it is bounded.
    std::uint64_t crowded_out() const { return crowded_out_; }
    /// Why nothing is written any more; empty: all is well.
    std::string trouble() const;

  private:
    class File;
    struct Piece {
        link::Kept kept;
        bool sent = false;
    };

    explicit Store(const StoreOptions& options) : options_(options) {}
    void pass(const Piece& piece);
    void write(const Piece& piece, std::string_view comment);
    void write_held();
    void remember(const Piece& piece);
    void evict(Time now);
    void fail(const Error& error);

    StoreOptions options_;
    std::shared_ptr<File> file_;
    std::optional<link::TrafficWriter> writer_;
    std::optional<Piece> held_; ///< the last one, which a mark may still belong to
    std::string held_comment_;
    std::string next_comment_; ///< for the next one
    std::uint64_t frames_ = 0;
    std::uint64_t marks_ = 0;
    std::uint64_t crowded_out_ = 0;
    std::string trouble_;
    Time synced_ = no_time;
    // Waiting for a mark: pieces one behind the other, in bytes.
    std::deque<std::vector<std::uint8_t>> blocks_;
    std::size_t first_ = 0; ///< in the first block
    std::size_t waiting_ = 0;
    Time keep_until_ = no_time;
};

} // namespace telltale::program
