// SPDX-License-Identifier: Apache-2.0
// Memory for what the C interface keeps until its next call. Internal: nothing here is installed.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstring>
#include <memory>
#include <string_view>
#include <type_traits>
#include <vector>

#include "telltale.h"

namespace telltale::c {

/// A text that is known to have a zero byte behind it: constants of the library.
inline telltale_text literal(std::string_view text) noexcept {
    return {text.data() == nullptr ? "" : text.data(), text.size()};
}
inline telltale_text literal(const char* text) noexcept {
    return text == nullptr ? telltale_text{"", 0} : telltale_text{text, std::strlen(text)};
}

/// Hands out pieces of memory that never move, and takes them all back at once. The first block is
/// in itself; others are kept for the next time, up to a bound.
class Arena {
  public:
    Arena() noexcept : at_(near_), end_(near_ + sizeof near_) {}
    Arena(const Arena&) = delete;
    Arena& operator=(const Arena&) = delete;

    void clear() noexcept {
        at_ = near_;
        end_ = near_ + sizeof near_;
        if (next_ != 0) [[unlikely]]
            forget();
    }

    /// A structure, with every byte zero.
    template <class T> T& make() { return *new (room<T>()) T{}; }

    /// A structure that its user fills in whole.
    template <class T> T& raw() {
        static_assert(std::is_trivially_default_constructible_v<T>);
        return *new (room<T>()) T;
    }

    /// A copy with a zero byte behind it.
    telltale_text text(std::string_view from) {
        if (from.empty())
            return {"", 0};
        auto* const to = static_cast<char*>(take(from.size() + 1));
        std::memcpy(to, from.data(), from.size());
        to[from.size()] = '\0';
        return {to, from.size()};
    }

    const std::uint8_t* bytes(const std::uint8_t* from, std::size_t size) {
        if (size == 0)
            return nullptr;
        auto* const to = static_cast<std::uint8_t*>(take(size));
        if (size == 8) // most frames; no call
            std::memcpy(to, from, 8);
        else
            std::memcpy(to, from, size);
        return to;
    }

  private:
    static constexpr std::size_t alignment = alignof(std::max_align_t);
    static constexpr std::size_t in_itself = std::size_t{16} * 1024;
    static constexpr std::size_t usual = std::size_t{32} * 1024;
    static constexpr std::size_t most_kept = 8;
    struct Block {
        std::unique_ptr<std::byte[]> memory;
        std::size_t size = 0;
    };

    template <class T> void* room() {
        static_assert(std::is_trivially_destructible_v<T> && alignof(T) <= alignment);
        return take(sizeof(T));
    }

    void* take(std::size_t wanted) {
        const std::size_t size = (wanted + alignment - 1) / alignment * alignment;
        if (static_cast<std::size_t>(end_ - at_) < size) [[unlikely]]
            more(size);
        void* const out = at_;
        at_ += size;
        return out;
    }

    /// Goes on to a block that has room.
    void more(std::size_t size) {
        while (next_ < blocks_.size() && blocks_[next_].size < size)
            ++next_;
        if (next_ == blocks_.size()) {
            const std::size_t whole = std::max(size, usual);
            // Not made with make_unique: nobody reads it before it is written.
            blocks_.push_back({std::unique_ptr<std::byte[]>(new std::byte[whole]), whole});
        }
        at_ = blocks_[next_].memory.get();
        end_ = at_ + blocks_[next_].size;
        ++next_;
    }

    void forget() noexcept {
        if (blocks_.size() > most_kept)
            blocks_.resize(most_kept);
        next_ = 0;
    }

    std::byte* at_;
    std::byte* end_;
    std::size_t next_ = 0; ///< the first block that nothing has been taken from
    std::vector<Block> blocks_;
    alignas(alignment) std::byte near_[in_itself];
};

} // namespace telltale::c
