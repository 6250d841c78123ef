// SPDX-License-Identifier: Apache-2.0
// `decode --as csv`: one row a value that an ECU reported, and one a problem.
#include "printer.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"

namespace telltale::program {

namespace {

using message::Said;
using message::Value;
using message::ValueKind;

class Csv final : public Printer {
  public:
    using Printer::Printer;

    void start() override {
        out() += options_.several ? "file,time,line,id,kind,service,pid,name,value,unit,text\n"
                                  : "time,line,id,kind,service,pid,name,value,unit,text\n";
    }

    void file(std::string_view name) override {
        Printer::file(name);
        file_cell_.clear();
        if (options_.several) {
            append_csv(file_cell_, name);
            file_cell_ += ',';
        }
    }

    bool begin(const Said& said) override {
        count(said);
        if (said.header.kind == message::Kind::request)
            return false; // a request holds no value
        return options_.only.wants(said);
    }

    void value(const Said& said, const Value& value) override {
        if (!options_.only.wants(said, value))
            return;
        append_head(said, kind_word(said.header), said.time);
        append_service(said);
        append_name(value);
        if (value.kind == ValueKind::text) {
            out() += ",,";
            append_text(value);
        } else {
            const auto how =
                shown(value.unit, value.step, value.decimals, options_.units, value.own_unit);
            append_exact(out(), how(value.number), how.converted);
            out() += ',';
            append_csv(out(), how.ucum);
            out() += ',';
            append_text(value, how);
        }
        out() += '\n';
        output_.commit();
    }

    void dtc(const Said& said, message::Dtc code) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        append_head(said, kind_word(said.header), said.time);
        append_service(said);
        out() += ',';
        out() += code_name(said.header.service);
        out() += ",,,";
        const auto text = code.text();
        out().append(text.data(), text.size());
        out() += '\n';
        output_.commit();
    }

    void dtc3(const Said& said, const message::DtcRecord& record) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        append_head(said, kind_word(said.header), said.time);
        append_service(said);
        append_hex(out(), record.report, 2);
        out() += ",code,,,";
        append_csv(out(), record_text(record));
        out() += '\n';
        output_.commit();
    }

    void message_problem(const Said& said, const Problem& problem) override {
        this->problem(problem, said);
    }

    void end(const Said& said) override {
        if (said.header.kind != message::Kind::negative || !options_.only.wants(said))
            return;
        append_head(said, kind_word(said.header), said.time);
        append_service(said);
        out() += ",negative response ";
        append_hex(out(), said.header.negative_code, 2);
        out() += ",,,";
        append_csv(out(), negative_text(said.header.negative_code));
        out() += '\n';
        output_.commit();
    }

    void problem(const Problem& problem, const Said& about) override {
        count(problem);
        append_head(about, "problem", time_of(problem, about));
        if (about.header.service == 0)
            out() += ',';
        else
            append_service(about);
        out() += ',';
        out() += word(problem.code);
        out() += ",,,";
        const auto place = place_of(problem, about);
        std::string text = describe(problem);
        text += place.line == 0 ? " (offset " : " (line ";
        append_integer(text, place.line == 0 ? place.offset : place.line);
        text += ')';
        append_csv(out(), text);
        out() += '\n';
        output_.commit();
    }

  private:
    void append_head(const Said& said, std::string_view kind, Time time) {
        auto& text = out();
        text += file_cell_;
        append_seconds(text, time);
        text += ',';
        append_csv(text, line_of(said));
        text += ',';
        if (said.has_id)
            append_can_id(text, said.id);
        text += ',';
        text += kind;
        text += ',';
    }

    void append_service(const Said& said) {
        append_hex(out(), said.header.service, 2);
        out() += ',';
    }

    /// Identifier and name; the cells of the same field as before are kept.
    void append_name(const Value& value) {
        if (value.field == nullptr || value.field != latest_) {
            latest_ = value.field;
            cells_.clear();
            append_id(cells_, value.id);
            cells_ += ',';
            append_csv(cells_, value.name);
            cells_ += ',';
        }
        out() += cells_;
    }

    /// The last cell: what is not in the others.
    void append_text(const Value& value, const Shown& how = {}) {
        if (value.kind != ValueKind::test && !value.frame && value.note.empty()) {
            append_csv(out(), value.text);
            return;
        }
        std::string text;
        if (value.frame) {
            text += "freeze frame ";
            append_integer(text, std::uint64_t{*value.frame});
        }
        if (value.kind == ValueKind::test) {
            text += "test ";
            append_hex(text, value.test, 2);
            text += value.passed ? " passed: " : " failed: ";
            append_exact(text, how(value.low), how.converted);
            text += " to ";
            append_exact(text, how(value.high), how.converted);
        }
        for (const auto more : {value.text, value.note})
            if (!more.empty()) {
                text += text.empty() ? "" : "; ";
                text += more;
            }
        append_csv(out(), text);
    }

    std::string file_cell_;
    const catalogue::Field* latest_ = nullptr;
    std::string cells_;
};

} // namespace

std::unique_ptr<Printer> make_csv_printer(Output& output, Printer::Options options) {
    return std::make_unique<Csv>(output, std::move(options));
}

} // namespace telltale::program
