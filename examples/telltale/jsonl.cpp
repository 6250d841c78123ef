// SPDX-License-Identifier: Apache-2.0
// `decode --as jsonl`: the contract is in CONTRACT.md.
#include <vector>

#include "printer.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"

namespace telltale::program {

namespace {

using message::Said;
using message::ValueKind;

class JsonLines final : public Printer {
  public:
    using Printer::Printer;

    bool begin(const Said& said) override {
        count(said);
        problems_.clear();
        dtcs_.clear();
        records_.clear();
        has_value_ = false;
        wanted_ = options_.only.wants(said);
        if (!wanted_)
            return false;
        start_ = out().size();
        append_head(said, kind_word(said.header), said.time);
        out() += ",\"service\":\"";
        append_hex(out(), said.header.service, 2);
        out() += '"';
        append_bytes(said.bytes);
        if (said.header.kind == message::Kind::negative) {
            out() += ",\"code\":\"";
            append_hex(out(), said.header.negative_code, 2);
            out() += "\",\"text\":";
            append_json(out(), negative_text(said.header.negative_code));
            out() += said.header.pending() ? ",\"pending\":true" : ",\"pending\":false";
        }
        out() += ",\"values\":[";
        return true;
    }

    void value(const Said& said, const message::Value& value) override {
        if (!options_.only.wants(said, value))
            return;
        out() += has_value_ ? ",{\"id\":\"" : "{\"id\":\"";
        has_value_ = true;
        append_id(out(), value.id);
        out() += '"';
        if (value.frame) {
            out() += ",\"frame\":";
            append_integer(out(), std::uint64_t{*value.frame});
        }
        if (value.kind == ValueKind::test || value.test != 0) {
            out() += ",\"test\":\"";
            append_hex(out(), value.test, 2);
            out() += '"';
        }
        out() += ",\"name\":";
        append_json(out(), value.name);
        if (!value.key.empty()) {
            out() += ",\"short\":";
            append_json(out(), value.key);
        }
        if (value.kind == ValueKind::text) {
            out() += ",\"value\":null,\"unit\":null,\"text\":";
            if (said.header.kind == message::Kind::request)
                out() += "null";
            else
                append_json(out(), value.text);
        } else {
            const auto how =
                shown(value.unit, value.step, value.decimals, options_.units, value.own_unit);
            out() += ",\"value\":";
            append_exact(out(), how(value.number), how.converted);
            if (value.kind == ValueKind::test) {
                out() += ",\"low\":";
                append_exact(out(), how(value.low), how.converted);
                out() += ",\"high\":";
                append_exact(out(), how(value.high), how.converted);
            }
            out() += ",\"unit\":";
            append_json(out(), how.ucum);
            out() += ",\"text\":null";
            if (value.kind == ValueKind::test)
                out() += value.passed ? ",\"passed\":true" : ",\"passed\":false";
        }
        if (!value.note.empty()) {
            out() += ",\"note\":";
            append_json(out(), value.note);
        }
        out() += '}';
    }

    void dtc(const Said& said, message::Dtc code) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        dtcs_ += dtcs_.empty() ? "\"" : ",\"";
        const auto text = code.text();
        dtcs_.append(text.data(), text.size());
        dtcs_ += '"';
    }

    void dtc3(const Said& said, const message::DtcRecord& record) override {
        if (!options_.only.wants_service(said.header.service))
            return;
        dtcs_ += dtcs_.empty() ? "\"" : ",\"";
        records_ += records_.empty() ? "{\"dtc\":\"" : ",{\"dtc\":\"";
        const auto text = record.code.text();
        for (auto* list : {&dtcs_, &records_}) {
            list->append(text.data(), text.size());
            *list += '"';
        }
        append_byte("status", record.status);
        append_byte("severity", record.severity);
        append_byte("group", record.group);
        append_byte("record", record.record);
        append_byte("counter", record.counter);
        records_ += '}';
    }

    void message_problem(const Said&, const Problem& problem) override {
        count(problem);
        problems_.push_back(problem);
    }

    void end(const Said& said) override {
        if (!wanted_)
            return;
        const bool shows = options_.only.everything() || has_value_ || !dtcs_.empty() ||
                           options_.only.wants_service(said.header.service) ||
                           said.header.kind == message::Kind::negative || !problems_.empty();
        if (!shows) {
            out().resize(start_);
            return;
        }
        out() += ']';
        if (is_code_list(said.header) || !dtcs_.empty()) {
            out() += ",\"dtcs\":[";
            out() += dtcs_;
            out() += ']';
        }
        if (!records_.empty()) {
            out() += ",\"records\":[";
            out() += records_;
            out() += ']';
        }
        out() += "}\n";
        for (const auto& problem : problems_)
            append_problem(problem, said);
        output_.commit();
    }

    void problem(const Problem& problem, const Said& about) override {
        count(problem);
        append_problem(problem, about);
        output_.commit();
    }

  private:
    void append_byte(std::string_view key, std::optional<std::uint8_t> byte) {
        if (!byte)
            return;
        records_ += ",\"";
        records_ += key;
        records_ += "\":\"";
        append_hex(records_, *byte, 2);
        records_ += '"';
    }

    void append_head(const Said& said, std::string_view kind, Time time) {
        if (options_.several) {
            out() += "{\"file\":";
            append_json(out(), file_);
            out() += ",\"time\":";
        } else {
            out() += "{\"time\":";
        }
        if (time == no_time)
            out() += "null";
        else
            append_seconds(out(), time);
        out() += ",\"line\":";
        if (const auto line = line_of(said); line.empty())
            out() += "null";
        else
            append_json(out(), line);
        if (said.has_id) {
            out() += ",\"id\":\"";
            append_can_id(out(), said.id);
            out() += "\",\"kind\":\"";
        } else {
            out() += ",\"id\":null,\"kind\":\"";
        }
        out() += kind;
        out() += '"';
    }

    void append_bytes(Bytes bytes) {
        out() += ",\"bytes\":\"";
        append_hex(out(), bytes);
        out() += '"';
    }

    void append_problem(const Problem& problem, const Said& about) {
        append_head(about, "problem", time_of(problem, about));
        out() += ",\"service\":";
        if (about.header.service == 0) {
            out() += "null";
        } else {
            out() += '"';
            append_hex(out(), about.header.service, 2);
            out() += '"';
        }
        append_bytes(about.bytes);
        out() += ",\"problem\":\"";
        out() += word(problem.code);
        out() += "\",\"detail\":";
        append_json(out(), describe(problem));
        const auto place = place_of(problem, about);
        out() += ",\"place\":{\"offset\":";
        append_integer(out(), place.offset);
        out() += ",\"line\":";
        if (place.line == 0)
            out() += "null";
        else
            append_integer(out(), place.line);
        if (options_.several) {
            out() += ",\"file\":";
            append_json(out(), file_);
        }
        out() += "}}\n";
    }

    bool wanted_ = true;
    bool has_value_ = false;
    std::size_t start_ = 0;
    std::string dtcs_;
    std::string records_;
    std::vector<Problem> problems_;
};

} // namespace

std::unique_ptr<Printer> make_jsonl_printer(Output& output, Printer::Options options) {
    return std::make_unique<JsonLines>(output, std::move(options));
}

} // namespace telltale::program
