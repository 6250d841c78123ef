// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "input.hpp"
#include "only.hpp"
#include "output.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/units.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::program {

/// What the printers of `decode` share: the output, the selection, the names of interfaces, the
/// count of problems.
class Printer : public message::Listener, public DumpWatcher {
  public:
    struct Options {
        Only only;
        UnitSystem units = UnitSystem::si;
        bool several = false; ///< more than one file: each line says which
        bool bytes = false;   ///< text: the bytes of each message as well
    };
    Printer(Output& output, Options options) : output_(output), options_(std::move(options)) {}

    /// Before the first file.
    virtual void start() {}
    /// Before each file.
    virtual void file(std::string_view name) { file_ = name; }

    void opened(const dump::Reader& reader) override;
    bool goes_on() override { return output_.open(); }
    void closed() override;

  protected:
    std::string& out() { return output_.buffer(); }
    /// Name of a message's interface; empty where there is none.
    std::string_view line_of(const message::Said& said) const {
        return said.has_line && reader_ != nullptr ? reader_->line_name(said.line)
                                                   : std::string_view{};
    }
    void count(const message::Said& said) {
        (void)said;
        ++messages_;
    }
    void count(const Problem& problem);

    Output& output_;
    Options options_;
    std::string file_;

  private:
    const dump::Reader* reader_ = nullptr;
    std::uint64_t messages_ = 0;
    std::uint64_t problems_ = 0;
    std::array<std::uint64_t, 256> by_code_{};
};

/// "request", "response", "negative".
std::string_view kind_word(const message::Header& header);
/// The place of a problem: its own, or that of the message it is in.
inline Place place_of(const Problem& problem, const message::Said& said) {
    return problem.place == Place{} ? said.place : problem.place;
}
inline Time time_of(const Problem& problem, const message::Said& said) {
    return problem.time == no_time ? said.time : problem.time;
}
/// True for the services whose answers are lists of codes.
inline bool is_code_list(const message::Header& header) {
    return header.kind == message::Kind::response &&
           (header.service == 0x03 || header.service == 0x07 || header.service == 0x0A);
}
/// "stored code" and so on, by the service.
std::string_view code_name(std::uint8_t service);
/// "P0143-1C, status 2F" with what else stands beside the code.
std::string record_text(const message::DtcRecord& record);
/// What a negative response code means, or "reserved".
std::string_view negative_text(std::uint8_t code);

std::unique_ptr<Printer> make_text_printer(Output& output, Printer::Options options);
std::unique_ptr<Printer> make_jsonl_printer(Output& output, Printer::Options options);
std::unique_ptr<Printer> make_csv_printer(Output& output, Printer::Options options);

} // namespace telltale::program
