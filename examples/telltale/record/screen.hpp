// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <vector>

#include "table.hpp"

namespace telltale::program {

/// The whole terminal, for as long as the object lives.
class Screen {
  public:
    /// Null where the terminal cannot be used so.
    static std::unique_ptr<Screen> open();
    Screen(const Screen&) = delete;
    Screen& operator=(const Screen&) = delete;
    ~Screen();

    std::size_t width() const;
    std::size_t height() const;
    /// The window has another size now.
    void resize();
    /// Draws these lines in place; only what has changed goes out.
    void show(const std::vector<Line>& lines);
    bool blocks() const { return blocks_; }

    enum class Key { other, mark, quit, up, down, page_up, page_down, home, end, redraw };
    /// A key that was pressed; nothing: none.
    std::optional<Key> key();

  private:
    Screen() = default;
    bool blocks_ = false;
    bool colour_ = false;
};

} // namespace telltale::program
