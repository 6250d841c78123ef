// SPDX-License-Identifier: Apache-2.0
// `decode --as text`: a line a message for people, wrapped only on a terminal.
#include <algorithm>
#include <vector>

#include "printer.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::program {

namespace {

using message::Kind;
using message::Said;
using message::Value;
using message::ValueKind;

/// Characters that a UTF-8 text takes on the screen, as far as this program writes them.
std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
        return (static_cast<unsigned char>(c) & 0xC0U) != 0x80;
    }));
}

class Text final : public Printer {
  public:
    using Printer::Printer;

    void opened(const dump::Reader& reader) override {
        Printer::opened(reader);
        if (!options_.several)
            return;
        out() += "== ";
        append_plain(out(), file_ == "-" ? "standard input" : file_);
        out() += '\n';
    }

    void comment(std::string_view text, Time time) override {
        body_.clear();
        ends_.clear();
        append_plain(body_, text);
        ends_.push_back(body_.size());
        Said nobody;
        nobody.time = time;
        print(nobody, '#', "");
    }

    bool begin(const Said& said) override {
        count(said);
        body_.clear();
        ends_.clear();
        problems_.clear();
        shows_ = options_.only.everything();
        return options_.only.wants(said);
    }

    void value(const Said& said, const Value& value) override {
        if (!options_.only.wants(said, value))
            return;
        shows_ = true;
        if (said.header.kind == Kind::request) {
            append_plain(body_, value.name);
            body_ += " (";
            append_id(body_, value.id);
            body_ += ')';
            if (value.frame)
                append_frame(value);
        } else {
            append_value(value);
        }
        if (!value.note.empty()) {
            body_ += " [";
            append_plain(body_, value.note);
            body_ += ']';
        }
        ends_.push_back(body_.size());
    }

    void dtc(const Said& said, message::Dtc code) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        shows_ = true;
        const auto text = code.text();
        body_.append(text.data(), text.size());
        ends_.push_back(body_.size());
    }

    void dtc3(const Said& said, const message::DtcRecord& record) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        shows_ = true;
        body_ += record_text(record);
        ends_.push_back(body_.size());
    }

    void message_problem(const Said&, const Problem& problem) override {
        count(problem);
        problems_.push_back(problem);
    }

    void end(const Said& said) override {
        const bool refused = said.header.kind == Kind::negative;
        if (!shows_ && problems_.empty() &&
            !(refused ? options_.only.wants(said)
                      : options_.only.wants_service(said.header.service)))
            return;
        std::string service;
        append_hex(service, said.header.service, 2);
        if (refused) {
            body_.clear();
            ends_.clear();
            body_ += said.header.pending() ? "not yet answered: " : "refused: ";
            body_ += negative_text(said.header.negative_code);
            body_ += " (";
            append_hex(body_, said.header.negative_code, 2);
            body_ += ')';
            ends_.push_back(body_.size());
        } else if (is_code_list(said.header)) {
            std::string front(code_name(said.header.service));
            front += ends_.empty() ? "s: none" : "s: ";
            body_.insert(0, front);
            for (auto& place : ends_)
                place += front.size();
            if (ends_.empty())
                ends_.push_back(body_.size());
        } else if (ends_.empty()) {
            if (const auto* name = catalogue::service(said.header.service); name != nullptr)
                body_ += name->name;
            ends_.push_back(body_.size());
        }
        print(said, refused ? 'x' : said.header.kind == Kind::request ? '>' : '<', service);
        for (const auto& problem : problems_)
            print_problem(problem, said);
    }

    void problem(const Problem& problem, const Said& about) override {
        count(problem);
        print_problem(problem, about);
    }

  private:
    void append_frame(const Value& value) {
        body_ += " in frame ";
        append_integer(body_, std::uint64_t{*value.frame});
    }

    void append_value(const Value& value) {
        if (value.kind == ValueKind::test) {
            append_id(body_, value.id);
            body_ += '/';
            append_hex(body_, value.test, 2);
            body_ += ' ';
        }
        append_plain(body_, value.name);
        if (value.frame)
            append_frame(value);
        body_ += ' ';
        if (value.kind == ValueKind::text) {
            append_plain(body_, value.text);
            return;
        }
        const auto how =
            shown(value.unit, value.step, value.decimals, options_.units, value.own_unit);
        append_number(body_, how(value.number), how.decimals);
        append_unit(how);
        if (value.kind == ValueKind::test) {
            body_ += value.passed ? ", passed (" : ", FAILED (";
            append_number(body_, how(value.low), how.decimals);
            body_ += " to ";
            append_number(body_, how(value.high), how.decimals);
            body_ += ')';
        }
    }

    void append_unit(const Shown& how) {
        if (how.text.empty())
            return;
        if (how.text != "°")
            body_ += ' ';
        body_ += how.text;
    }

    void print_problem(const Problem& problem, const Said& about) {
        body_.clear();
        ends_.clear();
        body_ += word(problem.code);
        body_ += ": ";
        append_plain(body_, describe(problem));
        const auto place = place_of(problem, about);
        body_ += place.line == 0 ? " (offset " : " (line ";
        append_integer(body_, place.line == 0 ? place.offset : place.line);
        body_ += ')';
        ends_.push_back(body_.size());
        Said said = about;
        said.time = time_of(problem, about);
        print(said, '!', "");
    }

    /// One line: time, interface, identifier, mark, service, and what was collected.
    void print(const Said& said, char mark, std::string_view service) {
        auto& text = out();
        const std::size_t begin = text.size();
        if (output_.colour())
            text += mark == '!' || mark == 'x' ? "\x1b[31m" : mark == '<' ? "" : "\x1b[2m";
        const std::size_t line_begin = text.size();
        append_seconds(text, said.time);
        if (said.time == no_time)
            text += '-';
        pad(line_begin, time_width_);
        if (const auto line = line_of(said); !line.empty()) {
            text += ' ';
            append_plain(text, line);
        }
        text += ' ';
        const std::size_t id_begin = text.size();
        if (said.has_id)
            append_can_id(text, said.id);
        else
            text += '-';
        while (text.size() < id_begin + 3)
            text += ' ';
        text += ' ';
        text += mark;
        text += ' ';
        text += service;
        if (!service.empty())
            text += ' ';
        if (options_.bytes && !said.bytes.empty()) {
            text += '[';
            append_hex(text, said.bytes, ' ');
            text += "] ";
        }
        append_body(line_begin);
        if (output_.colour() && begin != line_begin)
            text += "\x1b[0m";
        text += '\n';
        output_.commit();
    }

    /// Times keep to one column: it widens when a wider one comes.
    void pad(std::size_t from, std::size_t& width) {
        auto& text = out();
        const std::size_t length = text.size() - from;
        if (length < width)
            text.insert(from, width - length, ' ');
        width = std::max(width, length);
    }

    /// What was collected, piece by piece; wrapped on a terminal, never in a pipe.
    void append_body(std::size_t line_begin) {
        auto& text = out();
        const std::size_t width = output_.width();
        std::size_t at = columns(std::string_view(text).substr(line_begin));
        const std::size_t indent = at > width / 2 ? 4 : at;
        std::size_t begin = 0;
        for (std::size_t i = 0; i < ends_.size(); ++i) {
            std::string_view piece(body_.data() + begin, ends_[i] - begin);
            begin = ends_[i];
            if (i != 0) {
                text += ';';
                ++at;
            }
            const bool starts_line = i == 0;
            if (!starts_line) {
                if (width != 0 && at + 1 + columns(piece) > width)
                    new_line(at, indent);
                else {
                    text += ' ';
                    ++at;
                }
            }
            append_words(piece, width, indent, at);
        }
    }

    void append_words(std::string_view piece, std::size_t width, std::size_t indent,
                      std::size_t& at) {
        auto& text = out();
        while (width != 0 && at + columns(piece) > width && at < width) {
            const std::size_t room = width - at;
            auto cut = piece.substr(0, std::min(piece.size(), room + 1)).rfind(' ');
            if (cut == std::string_view::npos || cut == 0) {
                if (at > indent) {
                    new_line(at, indent);
                    continue;
                }
                cut = std::min(piece.size(), room); // a word longer than the line
            }
            text += piece.substr(0, cut);
            piece.remove_prefix(cut);
            while (!piece.empty() && piece.front() == ' ')
                piece.remove_prefix(1);
            new_line(at, indent);
        }
        text += piece;
        at += columns(piece);
    }

    void new_line(std::size_t& at, std::size_t indent) {
        out() += '\n';
        out().append(indent, ' ');
        at = indent;
    }

    std::string body_;              ///< the pieces of the line, one behind the other
    std::vector<std::size_t> ends_; ///< where each piece ends in `body_`
    std::vector<Problem> problems_;
    std::size_t time_width_ = 0;
    bool shows_ = true;
};

} // namespace

std::unique_ptr<Printer> make_text_printer(Output& output, Printer::Options options) {
    return std::make_unique<Text>(output, std::move(options));
}

} // namespace telltale::program
