// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <vector>

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
        : source_(std::move(source)), capacity_(capacity), buffer_(2 * capacity) {}

    const std::uint8_t* data() const { return buffer_.data() + begin_; }
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
            std::memmove(buffer_.data(), data(), size());
            end_ -= begin_;
            begin_ = 0;
        }
        const std::size_t room = std::min(buffer_.size() - end_, capacity_ - size());
        const auto got = source_->read({buffer_.data() + end_, room});
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
    std::unique_ptr<Source> source_;
    std::size_t capacity_;
    std::vector<std::uint8_t> buffer_;
    std::size_t begin_ = 0;
    std::size_t end_ = 0;
    std::uint64_t offset_ = 0;
    bool ended_ = false;
    bool failed_ = false;
};

} // namespace telltale::dump
