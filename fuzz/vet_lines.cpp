// SPDX-License-Identifier: Apache-2.0
// Vetting a DoIP entity and a K-line adapter with anything that these may do: it comes to its end,
// and what it reports is bounded.
#include <algorithm>
#include <array>
#include <vector>

#include "dump_target.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/vet/doip.hpp"
#include "telltale/vet/kline.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

constexpr Time sec = nanoseconds_a_second;

/// What the input says next; zeros when it is at its end.
class Input {
  public:
    explicit Input(Bytes bytes) : left_(bytes) {}
    bool over() const { return left_.empty(); }
    std::uint8_t byte() {
        if (left_.empty())
            return 0;
        const std::uint8_t first = left_.front();
        left_ = left_.subspan(1);
        return first;
    }
    Bytes bytes() {
        const std::size_t wanted = byte() % 80U;
        const Bytes part = left_.first(std::min(wanted, left_.size()));
        left_ = left_.subspan(part.size());
        return part;
    }

  private:
    Bytes left_;
};

void check_report(const Report& report) {
    FUZZ_REQUIRE(report.checks.size() < 64 && report.notes.size() < 16);
    for (const Check& check : report.checks) {
        FUZZ_REQUIRE(!check.id.empty() && !check.title.empty() && !check.basis.empty());
        FUZZ_REQUIRE(check.examples.size() <= Check::most_examples);
        FUZZ_REQUIRE((check.verdict == Verdict::passed) == check.finding.empty());
        FUZZ_REQUIRE(check.verdict != Verdict::passed || check.wrong_count == 0);
    }
}

struct Entity final : DoipVetOutlet {
    bool open[DoipVetting::lines] = {};
    bool wanted[DoipVetting::lines] = {};
    std::vector<std::uint8_t> written;              ///< last
    std::array<std::vector<std::uint8_t>, 3> given; ///< to the far end, each of its ECUs
    void connect(unsigned line, DoipConnection) override {
        FUZZ_REQUIRE(line < DoipVetting::lines);
        wanted[line] = true;
    }
    void write(unsigned line, Bytes bytes) override {
        FUZZ_REQUIRE(open[line] && !bytes.empty());
        written.assign(bytes.begin(), bytes.end());
    }
    void close(unsigned line) override { open[line] = wanted[line] = false; }
    void answer(unsigned ecu, Bytes message) override {
        FUZZ_REQUIRE(ecu < given.size());
        FUZZ_REQUIRE(!message.empty() && message.size() <= 300);
        given[ecu].assign(message.begin(), message.end());
    }
};

void fuzz_doip(Input input) {
    namespace doip = link::doip;
    Entity entity;
    DoipVetOptions options;
    options.target = 0x1001;
    options.longest = 300;
    options.duration = 5 * sec;
    const std::uint8_t how = input.byte();
    options.seed = 1U + how;
    if ((how & 0x40) != 0)
        options.others = {0x1002, 0x1003};
    options.tls = (how & 0x80) != 0;
    Time now = sec;
    DoipVetting vetting(options, now);
    const auto put = [&](unsigned line, doip::Type type, Bytes payload) {
        std::vector<std::uint8_t> out;
        doip::append(out, type, payload);
        vetting.read(line, out, now);
    };
    for (int i = 0; i < 20'000 && !vetting.done(); ++i) {
        const std::uint8_t what = input.over() ? 0 : input.byte();
        const unsigned line = what >> 7;
        const unsigned ecu = what >> 4 & 3U;
        const unsigned hearer = ecu == 3 ? DoipVetting::everybody : ecu;
        const Bytes message =
            entity.written.size() > 12 ? Bytes(entity.written).subspan(12) : Bytes();
        switch (what & 15U) {
        case 1:
            if (entity.wanted[line]) {
                entity.wanted[line] = false;
                entity.open[line] = (what & 0x40) == 0;
                link::TlsOutcome tls;
                if (options.tls)
                    tls.kind = entity.open[line] ? link::TlsOutcome::Kind::agreed
                                                 : static_cast<link::TlsOutcome::Kind>(2 + ecu);
                vetting.connected(line, entity.open[line], now, tls);
            }
            break;
        case 2:
            vetting.read(line, input.bytes(), now);
            break;
        case 3:
            if (entity.open[line]) {
                entity.open[line] = false;
                vetting.closed(line, now);
            }
            break;
        case 4:
            vetting.heard(hearer, message, now);
            break;
        case 5:
            vetting.heard(hearer, input.bytes(), now);
            break;
        case 6:
            vetting.answered(ecu, (what & 0x40) == 0, now);
            break;
        case 7: {
            const unsigned one = ecu % entity.given.size();
            std::vector<std::uint8_t> payload{0x10, static_cast<std::uint8_t>(1 + one), 0x0E, 0x00};
            payload.insert(payload.end(), entity.given[one].begin(), entity.given[one].end());
            put(line, doip::Type::message, payload);
            break;
        }
        case 8: {
            std::vector<std::uint8_t> payload{0x10, 0x01, 0x0E, 0x00, 0x00};
            if (ecu == 3) { // of all
                payload[0] = 0xE0;
                payload[1] = 0x00;
            }
            payload.insert(payload.end(), message.begin(), message.end());
            put(line, doip::Type::message_taken, payload);
            break;
        }
        case 9: {
            const std::vector<std::uint8_t> payload{0x0E, 0, 0x10, 0, input.byte(), 0, 0, 0, 0};
            put(line, doip::Type::activation_response, payload);
            break;
        }
        case 10:
            put(line, doip::Type::alive_request, {});
            break;
        case 11:
            vetting.status(input.bytes(), now);
            break;
        case 12:
            put(line, doip::Type::negative_acknowledge, input.bytes());
            break;
        case 13:
            put(line, doip::Type::message_refused, input.bytes());
            break;
        default:
            now = std::max(now + 1, std::min(vetting.next_wakeup(), now + 10 * sec));
        }
        for (int turn = 0; vetting.next_wakeup() <= now; ++turn) {
            FUZZ_REQUIRE(turn < 1000);
            vetting.poll(now, entity);
        }
    }
    FUZZ_REQUIRE(vetting.done());
    check_report(vetting.report());
}

struct Adapter final : KlineVetOutlet {
    bool opening = false;
    bool sending = false;
    std::vector<std::uint8_t> request;
    std::vector<std::uint8_t> put_;
    void open(KlineWaking) override { opening = true; }
    void send(Bytes frame) override {
        FUZZ_REQUIRE(!frame.empty() && frame.size() <= max_kline_frame);
        request.assign(frame.begin(), frame.end());
        sending = true;
    }
    void put(std::uint8_t byte) override {
        if (put_.size() == max_kline_frame)
            put_.clear();
        put_.push_back(byte);
    }
};

void fuzz_kline(Input input) {
    KlineOptions options;
    const std::uint8_t how = input.byte();
    options.wakes = (how & 1) != 0;
    options.exact = (how & 2) != 0;
    options.seed = how;
    options.duration = 2 * sec;
    Time now = sec;
    KlineVetting vetting(options, now);
    Adapter adapter;
    for (int i = 0; i < 20'000 && !vetting.done(); ++i) {
        const std::uint8_t what = input.over() ? 0 : input.byte();
        switch (what & 15U) {
        case 1:
            if (adapter.opening) {
                adapter.opening = false;
                vetting.opened((what & 0x40) == 0, now);
            }
            break;
        case 2:
            for (const std::uint8_t byte : input.bytes())
                vetting.heard(byte, now += KlineCutter::byte_time);
            break;
        case 3:
            for (const std::uint8_t byte : adapter.request)
                vetting.heard(byte, now += KlineCutter::byte_time + 6'000'000);
            break;
        case 4:
            if (adapter.sending) {
                adapter.sending = false;
                vetting.sent((what & 0x40) == 0, now, static_cast<KlineEcho>(what >> 4 & 3));
            }
            break;
        case 5:
            vetting.received(adapter.put_, now);
            adapter.put_.clear();
            break;
        case 6:
            vetting.received(input.bytes(), now);
            break;
        case 7:
            vetting.heard(0, now += 100'000'000 * Time{input.byte()});
            break;
        case 8:
            if (what == 0xF8)
                vetting.gone(End::tested, now);
            break;
        default: {
            const Time next = vetting.next_wakeup();
            now = next == no_time ? now + sec : std::max(now + 1, std::min(next, now + 20 * sec));
        }
        }
        for (int turn = 0; vetting.next_wakeup() != no_time && vetting.next_wakeup() <= now;
             ++turn) {
            FUZZ_REQUIRE(turn < 3000);
            vetting.poll(now, adapter);
            if (vetting.done())
                break;
        }
    }
    FUZZ_REQUIRE(vetting.done());
    check_report(vetting.report());
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0)
        return 0;
    const Bytes rest = Bytes(data, size).subspan(1);
    if (data[0] % 2 == 0)
        fuzz_doip(Input(rest));
    else
        fuzz_kline(Input(rest));
    return 0;
}
