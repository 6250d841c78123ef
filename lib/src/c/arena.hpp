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

/// Hands out pieces of memory that never move, and takes them all back at once. Blocks are kept for
/// the next time, up to a bound.
class Arena {
  public:
    void clear() noexcept {
        if (blocks_.size() > most_kept)
            blocks_.resize(most_kept);
        block_ = 0;
        used_ = 0;
    }

    /// A structure, with every byte zero.
    template <class T> T& make() {
        static_assert(std::is_trivially_destructible_v<T> && alignof(T) <= alignment);
        return *new (take(sizeof(T))) T{};
    }

    /// A structure that its user fills in whole.
    template <class T> T& raw() {
        static_assert(std::is_trivially_default_constructible_v<T> &&
                      std::is_trivially_destructible_v<T> && alignof(T) <= alignment);
        return *new (take(sizeof(T))) T;
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
        std::memcpy(to, from, size);
        return to;
    }

  private:
    static constexpr std::size_t alignment = alignof(std::max_align_t);
    static constexpr std::size_t usual = std::size_t{32} * 1024;
    static constexpr std::size_t most_kept = 8;
    struct Block {
        std::unique_ptr<std::byte[]> memory;
        std::size_t size = 0;
    };

    void* take(std::size_t wanted) {
        const std::size_t size = (wanted + alignment - 1) / alignment * alignment;
        while (block_ < blocks_.size() && blocks_[block_].size - used_ < size) {
            ++block_;
            used_ = 0;
        }
        if (block_ == blocks_.size()) {
            const std::size_t whole = std::max(size, usual);
            // Not made with make_unique: nobody reads it before it is written.
            blocks_.push_back({std::unique_ptr<std::byte[]>(new std::byte[whole]), whole});
        }
        void* const out = blocks_[block_].memory.get() + used_;
        used_ += size;
        return out;
    }

    std::vector<Block> blocks_;
    std::size_t block_ = 0;
    std::size_t used_ = 0;
};

/// The latest of a kind of text, with a zero byte behind it.
class Kept {
  public:
    telltale_text set(std::string_view from) {
        if (from.empty())
            return {"", 0};
        char* to = near_;
        if (from.size() >= sizeof near_) {
            if (far_size_ <= from.size()) {
                far_.reset(new char[from.size() + 1]);
                far_size_ = from.size() + 1;
            }
            to = far_.get();
        }
        std::memcpy(to, from.data(), from.size());
        to[from.size()] = '\0';
        return {to, from.size()};
    }

  private:
    char near_[256];
    std::unique_ptr<char[]> far_;
    std::size_t far_size_ = 0;
};

} // namespace telltale::c
