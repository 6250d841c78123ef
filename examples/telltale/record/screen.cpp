// SPDX-License-Identifier: Apache-2.0
#include "screen.hpp"

#include <clocale>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include <langinfo.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define NCURSES_NOMACROS 1
#define NCURSES_WIDECHAR 1
#include <curses.h>

namespace telltale::program {

std::unique_ptr<Screen> Screen::open() {
    // Only for what characters are: numbers are written as everywhere else.
    std::setlocale(LC_CTYPE, "");
    SCREEN* screen = ::newterm(nullptr, stdout, stdin);
    if (screen == nullptr)
        return nullptr;
    ::set_term(screen);
    ::cbreak();
    ::noecho();
    ::nonl();
    ::keypad(stdscr, TRUE);
    ::nodelay(stdscr, TRUE);
    ::set_escdelay(25);
    ::curs_set(0);
    std::unique_ptr<Screen> out(new Screen);
    out->blocks_ = std::strcmp(::nl_langinfo(CODESET), "UTF-8") == 0;
    out->colour_ = std::getenv("NO_COLOR") == nullptr && ::has_colors();
    if (out->colour_) {
        ::start_color();
        ::use_default_colors();
        ::init_pair(1, COLOR_RED, -1);
    }
    return out;
}

Screen::~Screen() {
    ::erase();
    ::refresh();
    ::endwin();
}

std::size_t Screen::width() const {
    return static_cast<std::size_t>(COLS);
}
std::size_t Screen::height() const {
    return static_cast<std::size_t>(LINES);
}

void Screen::resize() {
    winsize size{};
    if (::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_row > 0 && size.ws_col > 0)
        ::resize_term(size.ws_row, size.ws_col); // resizeterm would press a key of its own
    ::clearok(stdscr, TRUE);
}

void Screen::show(const std::vector<Line>& lines) {
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const auto& line = lines[i];
        attr_t look = A_NORMAL;
        if (line.look == Line::Look::head)
            look = A_REVERSE;
        else if (line.look == Line::Look::trouble)
            look = A_BOLD | static_cast<attr_t>(colour_ ? COLOR_PAIR(1) : 0);
        else if (line.look == Line::Look::notice)
            look = A_BOLD;
        ::attrset(static_cast<int>(look));
        ::mvaddstr(static_cast<int>(i), 0, line.text.c_str());
    }
    ::attrset(static_cast<int>(A_NORMAL));
    ::refresh();
}

std::optional<Screen::Key> Screen::key() {
    switch (::getch()) {
    case ERR:
        return {};
    case ' ':
    case 'm':
        return Key::mark;
    case 'q':
        return Key::quit;
    case KEY_UP:
    case 'k':
        return Key::up;
    case KEY_DOWN:
    case 'j':
        return Key::down;
    case KEY_PPAGE:
        return Key::page_up;
    case KEY_NPAGE:
        return Key::page_down;
    case KEY_HOME:
        return Key::home;
    case KEY_END:
        return Key::end;
    case '\f':
        ::clearok(stdscr, TRUE);
        return Key::redraw;
    default:
        return Key::other;
    }
}

} // namespace telltale::program
