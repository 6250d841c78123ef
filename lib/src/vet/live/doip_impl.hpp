// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "../clock.hpp"
#include "../pace.hpp"
#include "base/chance.hpp"
#include "doip_way.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/vet/doip.hpp"

namespace telltale::vet {

namespace through {

namespace doip = link::doip;

// Waiting times. ISO 13400-2: A_DoIP_Ctrl and A_DoIP_Diagnostic_Message 2 s, T_TCP_Alive_Check
// 0.5 s (from memory).
inline constexpr Time answer_time = 2000 * ms;
inline constexpr Time alive_time = 500 * ms + answer_time;
inline constexpr Time way_time = 5000 * ms;   ///< for a message on its way through the entity
inline constexpr Time quiet_time = 2000 * ms; ///< nothing came for so long: what is missing is lost
inline constexpr Time none_time = 500 * ms;   ///< for what ought not to come
inline constexpr Time one_burst = 2000 * ms;
inline constexpr std::size_t most_requests = 8; ///< given, not yet acknowledged and come
inline constexpr std::size_t most_answers = 16;
inline constexpr unsigned most_lost_in_row = 6;
inline constexpr unsigned least_rounds = 24; ///< of functional requests
inline constexpr unsigned most_gaps = 2;     ///< rounds of which something is missing

inline constexpr std::uint16_t no_target = 0x8FFF; ///< reserved: nobody has it
// ISO 13400-2, logical addresses (from memory): E000 to E3FF are functional ones of ISO and SAE, of
// which E000 is that of OBD and the others are reserved; E400 to EFFF are the makers'.
inline constexpr std::uint16_t obd_group = 0xE000;
inline constexpr std::uint16_t no_group = 0xE3FF;
inline constexpr std::uint16_t nor_group = 0xE3FE; ///< where that one is wanted
/// Longer than a single frame takes, be it of CAN FD (ISO 15765-2: 7 or 62 bytes).
inline constexpr std::size_t many_bytes = 100;
inline constexpr std::uint16_t other_tester = 0x0EFE; ///< a tester's, but not the one activated
// Codes of negative acknowledgements (ISO 13400-2, from memory).
inline constexpr std::uint8_t unknown_target = 0x03;
inline constexpr std::uint8_t too_long = 0x04;
inline constexpr std::uint8_t request_service = 0xBA; ///< of no service of any ECU
inline constexpr std::uint8_t answer_service = 0xFA;

/// A header that is to be refused.
struct Header {
    const char* id;
    const char* title;
    std::vector<std::uint8_t> bytes;
    std::uint8_t code;
    std::uint8_t other_code; ///< that will do as well
    bool closes;
};

std::vector<Header> bad_headers();

} // namespace through

/// Its sources: `doip.cpp` what it is told, `doip_heard.cpp` what the entity says, `doip_steps.cpp`
/// what goes through, `doip_group.cpp` functional requests, `doip_tls.cpp`, `doip_refusals.cpp`
/// what is to be refused, `doip_report.cpp`.
class DoipVetting::Impl {
  public:
    Impl(const DoipVetOptions& options, Time now);

    void connected(unsigned number, bool fine, Time now, const link::TlsOutcome& tls);
    void closed(unsigned number, Time now);
    void status(Bytes payload, Time now);
    void gone(Time now);
    void stop(Time now);
    void read(unsigned number, Bytes bytes, Time now);
    void heard(unsigned ecu, Bytes message, Time now);
    void answered(unsigned ecu, bool fine, Time now);
    void poll(Time now, DoipVetOutlet& outlet);
    Time next_wakeup() const;
    bool done() const { return step_ == Step::over; }
    const Report& report() const { return report_; }
    void finish(Time);

  private:
    using Message = through::Message;
    using Judged = through::Judged;
    using Way = through::Way;

    // In the order in which they are taken.
    enum class Step : std::uint8_t {
        status,
        tls,
        tls_plain,
        tls_old,
        before,
        activate,
        known,
        functional,
        target,
        group_unknown,
        group_long,
        bursts,
        alive_asked,
        alive_silent,
        headers,
        source,
        all, ///< everything was tried
        over,
    };
    struct Line {
        bool connecting = false;
        bool open = false;
        bool failed = false;
        bool ended = false; ///< the entity has closed it
        bool answers_alive = true;
        bool want_close = false;
        unsigned alive = 0; ///< times that it was asked whether it is
        link::TlsOutcome tls;
        std::optional<link::doip::Activation> activation;
        bool strange_activation = false;
        std::optional<std::uint8_t> refusal; ///< of a header
        link::doip::Parser parser;
        Message out;
    };
    struct Due {
        unsigned line = 0;
        Message bytes;
        Time given = 0;
        std::uint8_t code = 0; ///< that is right
        std::uint16_t target = 0;
    };
    struct Ecu {
        std::uint16_t address = 0;
        bool answering = false;
        Message answer; ///< the last one
    };
    struct Counts {
        Judged whole, twice, order;
        std::uint64_t arrived = 0;
    };

    Time since(Time now) const { return now - begun_; }
    std::string_view name() const;
    Counts& request_counts() {
        return counts_[step_ == Step::bursts ? 2 : step_ == Step::functional ? 4 : 0];
    }
    Counts& answer_counts() {
        return counts_[step_ == Step::bursts ? 3 : step_ == Step::functional ? 5 : 1];
    }
    Judged& acks() { return step_ == Step::functional ? group_acks_ : acks_; }
    bool answering() const {
        return std::any_of(ecus_.begin(), ecus_.end(),
                           [](const Ecu& ecu) { return ecu.answering; });
    }

    // The entity's side.
    void connect(unsigned number, DoipConnection how);
    void close_line(unsigned number);
    void write(unsigned number, Bytes bytes);
    void activate(unsigned number);
    void request(unsigned number, std::uint16_t source, std::uint16_t target, Bytes message,
                 std::uint8_t code, Time now);
    void take(unsigned number, const link::doip::Packet& packet, Time now);
    void acknowledged(unsigned number, const link::doip::Packet& packet, Time now);
    bool acknowledges(const link::doip::Acknowledge& answer, const Due& due) const;
    void refuse_group(const Due& due, Bytes payload, Time now);
    void refuse(const Message& bytes, Time now);
    void came_to_group(const link::DoipMessage& message, Time now);
    void came(Way& way, Counts& counts, Bytes bytes, Time now, Latency& latency);
    Message make(std::uint8_t service, std::size_t size);
    void answer(unsigned ecu, std::size_t size, Time now);

    // The steps.
    void go_to(Step next, Time now);
    void step(Time now);
    /// What was just begun has until then.
    void allow(Time until) { until_ = wake_ = until; }
    /// Waits until then; true when it is over.
    bool wait_until(Time time, Time now) {
        wake_ = time;
        return now >= time;
    }
    /// Asks for this connection at 0, waits for it at 1: could it be had (then `at` is 2)? None: it
    /// is not known yet.
    std::optional<bool> connection(unsigned number, unsigned& at, Time now,
                                   DoipConnection how = DoipConnection::usual);
    void step_status(Time now);
    void step_tls(Time now);
    void step_tls_plain(Time now);
    void step_tls_old(Time now);
    void step_before(Time now);
    void step_activate(Time now);
    std::size_t longest() const;
    /// All of them once, then at random; 0: there are no more.
    std::size_t next_length(Time now);
    void step_known(Time now);
    void step_functional(Time now);
    void lost_group_answers(Time now);
    void close_requests(Counts& counts, Time now);
    void lost_answers(Counts& counts, Time now);
    void step_bursts(Time now);
    std::size_t burst_size() { return 6 + chance_.below(chance_.below(8) == 0 ? 180 : 20); }
    /// A message that is to be refused with this code.
    void step_refused(Time now, unsigned line, std::uint16_t source, std::uint16_t target,
                      std::uint8_t code, Judged& judged, Step next, std::size_t size = 8);
    /// A second connection wants to be the same tester: is the first one asked whether it is alive?
    void step_alive(Time now);
    void step_headers(Time now);
    void step_source(Time now);

    // The report.
    Check& row(const char* id, std::string title, const char* basis, const Judged& judged,
               const std::string& sent, const std::string& good, const std::string& why,
               bool whole);
    void write_tls();
    void write_functional(const std::string& not_tried);
    void write_report();

    DoipVetOptions options_;
    Chance chance_;
    Time begun_;
    Time wake_;
    Step step_ = Step::status;
    Step step_reached_ = Step::status;
    unsigned at_ = 0;
    Time until_ = 0;
    Time last_event_ = 0;
    Pace pace_;
    DoipVetOutlet* outlet_ = nullptr; ///< during `poll`
    std::array<Line, lines> lines_;
    std::deque<Due> due_; ///< acknowledgements
    std::deque<Message> acknowledged_;
    Way requests_, answers_;
    /// Requests and answers; those in bursts; functional requests and the answers to them.
    std::array<Counts, 6> counts_;
    std::array<std::uint8_t, 251> pattern_{};
    std::uint32_t number_ = 0;
    std::size_t length_at_ = 0;
    std::size_t size_ = 0;
    bool last_length_ = false;
    std::size_t longest_ = 0; ///< as the entity says; 0: it does not
    bool status_came_ = false;
    bool unknown_target_ = false;
    bool lost_line_ = false;
    bool no_second_ = false;
    std::vector<Ecu> ecus_; ///< that the far end plays
    std::uint16_t group_;   ///< functional address
    bool no_group_ = false; ///< which the entity does not know
    unsigned round_ = 0;    ///< of functional requests
    unsigned gaps_ = 0;
    bool speaks_tls_ = false;
    bool hangs_ = false; ///< its handshake, unless there is nobody
    link::TlsOutcome tls_agreed_;
    std::string no_old_tls_; ///< why it was not tried
    Message forbidden_;      ///< that is not to come
    bool forbidden_came_ = false;
    bool right_code_ = false;
    std::string wrong_code_;
    std::string trouble_;
    unsigned in_row_ = 0;
    unsigned burst_ = 0;
    unsigned source_at_ = 0;
    std::size_t header_ = 0;
    std::vector<through::Header> headers_;
    std::vector<Judged> header_counts_;
    std::uint64_t refused_ = 0;
    Judged status_, before_, activation_, acks_, addresses_, target_, source_, alive_asked_,
        alive_silent_, stream_, tls_, certificate_, host_, plain_, old_tls_, group_acks_,
        group_sources_, group_unknown_, group_long_;
    Latency ack_latency_, request_latency_, answer_latency_, group_latency_;
    Report report_;
};

} // namespace telltale::vet
