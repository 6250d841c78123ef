// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>

#include "telltale/dump/source.hpp"

namespace telltale::dump {

/// A sliding window over a source: the bytes not yet consumed, in one piece. Its capacity is fixed,
/// so nothing that the input says can make it grow. The buffer is twice the capacity: so bytes are
/// moved only when at least as many were consumed, and moving costs no more than reading did,
/// however small the pieces are in which the bytes come.
class Window {
  public:
    static constexpr std::size_t default_capacity = 256U << 10;

    explicit Window(std::unique_ptr<Source> source, std::size_t capacity = default_capacity)
        : source_(std::move(source)), capacity_(capacity), room_(first_room(source_->size())),
          buffer_(new std::uint8_t[room_]) {}

    const std::uint8_t* data() const { return buffer_.get() + begin_; }
    std::size_t size() const { return end_ - begin_; }
    Bytes bytes() const { return {data(), size()}; }
    std::size_t capacity() const { return capacity_; }
    /// Offset of `data()` from the start of the input.
    std::uint64_t offset() const { return offset_; }
    /// No more bytes will come.
    bool ended() const { return ended_; }
    /// The source failed to read; its bytes so far are still here.
    bool failed() const { return failed_; }

    void consume(std::size_t count) {
        begin_ += count;
        offset_ += count;
    }

    /// Tries to have at least `count` bytes (up to the capacity) in the window. Moves the bytes:
    /// views into the window die.
    bool need(std::size_t count) {
        while (size() < count && more()) {
        }
        return size() >= count;
    }

    /// Reads once more. False at the end, on failure, or when the window is full.
    bool more() {
        if (ended_ || size() >= capacity_)
            return false;
        if (begin_ != 0 && begin_ >= size()) {
            std::memmove(buffer_.get(), data(), size());
            end_ -= begin_;
            begin_ = 0;
        }
        if (end_ == room_)
            enlarge();
        const std::size_t free = std::min(room_ - end_, capacity_ - size());
        const auto got = source_->read({buffer_.get() + end_, free});
        if (!got || *got == 0) {
            failed_ = !got;
            ended_ = true;
            return false;
        }
        end_ += *got;
        return true;
    }

    std::uint64_t source_size() const { return source_->size(); }

  private:
    /// A small input of known size needs no more room than itself, if it does not grow meanwhile.
    std::size_t first_room(std::uint64_t size) const {
        const std::uint64_t most = 2 * capacity_;
        return static_cast<std::size_t>(size == 0 || size >= most ? most : size + 1);
    }

    void enlarge() {
        const std::size_t kept = size();
        std::unique_ptr<std::uint8_t[]> larger(new std::uint8_t[2 * capacity_]);
        std::memcpy(larger.get(), data(), kept);
        buffer_ = std::move(larger);
        room_ = 2 * capacity_;
        begin_ = 0;
        end_ = kept;
    }

    std::unique_ptr<Source> source_;
    std::size_t capacity_;
    std::size_t room_; ///< of the buffer: twice the capacity at most
    std::unique_ptr<std::uint8_t[]> buffer_;
    std::size_t begin_ = 0;
    std::size_t end_ = 0;
    std::uint64_t offset_ = 0;
    bool ended_ = false;
    bool failed_ = false;
};

} // namespace telltale::dump
