// SPDX-License-Identifier: Apache-2.0
#include "doip_impl.hpp"

#include "../render.hpp"

namespace telltale::vet {

using namespace through; // NOLINT: its own

Check& DoipVetting::Impl::row(const char* id, std::string title, const char* basis,
                              const Judged& judged, const std::string& sent,
                              const std::string& good, const std::string& why, bool whole) {
    Check check;
    check.id = id;
    check.group = "doip";
    check.title = std::move(title);
    check.basis = basis;
    check.sent_count = judged.all;
    check.wrong_count = judged.wrong;
    check.examples = judged.examples;
    if (judged.all == 0 && judged.wrong == 0) {
        check.finding = why;
    } else if (judged.wrong == 0 && !whole) {
        check.finding = "it was not tried to the end";
    } else {
        check.sent = sent;
        check.verdict = judged.wrong == 0 ? Verdict::passed : Verdict::failed;
        check.came = judged.wrong == 0 ? good : judged.first;
        if (judged.wrong != 0)
            check.finding = judged.all <= 1 ? judged.first
                                            : render::with_commas(judged.wrong) + " of " +
                                                  render::with_commas(judged.all) +
                                                  " wrong; the first: " + judged.first;
    }
    report_.checks.push_back(std::move(check));
    return report_.checks.back();
}

void DoipVetting::Impl::write_report() {
    const auto after = [this](Step step) { return step_reached_ > step; };
    const std::string not_tried =
        !trouble_.empty() ? trouble_
        : unknown_target_ ? "it knows no ECU with this logical address: name one with ,target=HEX"
        : activation_.wrong != 0 ? "routing was not activated"
                                 : "it was not tried";
    if (lost_line_) {
        Judged stays;
        ++stays.all;
        stays.fault(0, {}, {}, "the entity closed the connection in the midst of it");
        row("line-stays", "The connection stays", "common practice", stays, "", "", "", true);
    }
    write_tls();
    row("doip-status", "It says what it is and how long requests may be",
        "ISO 13400-2, entity status; from memory", status_, "one question",
        longest_ == 0 ? "it says nothing of their length"
                      : "up to " + how_many(longest_, "byte", "bytes"),
        "no answer came: a datagram may not reach it", true);
    row("doip-activation", "Routing is activated", "ISO 13400-2, routing activation; from memory",
        activation_, "one request", "activated", not_tried, true);
    row("doip-before-activation", "Nothing is routed before that",
        "ISO 13400-2, routing activation; from memory", before_, "one message", "not routed",
        not_tried, true);
    const bool known = after(Step::known);
    const bool bursts = after(Step::bursts);
    const std::string lengths = "of 1 to " + how_many(longest(), "byte", "bytes");
    row("doip-requests", "Requests reach the ECU as they were given, " + lengths,
        "ISO 13400-2, diagnostic message", counts_[0].whole,
        how_many(counts_[0].whole.all, "message", "messages"), "all the same to the bit", not_tried,
        known);
    row("doip-answers", "Answers reach the tester as the ECU gave them, " + lengths,
        "ISO 13400-2, diagnostic message", counts_[1].whole,
        how_many(counts_[1].whole.all, "message", "messages"), "all the same to the bit", not_tried,
        known);
    row("doip-addresses", "Answers bear the addresses of the ECU and the tester",
        "ISO 13400-2, diagnostic message", addresses_,
        how_many(addresses_.all, "message", "messages"), "all", not_tried, known);
    row("doip-acknowledge", "Each request is acknowledged once, with its addresses and bytes",
        "ISO 13400-2, diagnostic message acknowledgement, within 2 s; from memory", acks_,
        how_many(acks_.all, "message", "messages"), "all", not_tried, known);
    Judged loss = counts_[2].whole;
    loss.add(counts_[3].whole);
    const std::string burst_text =
        how_many(loss.all, "message", "messages") + " in bursts, one way, the other, both at once";
    row("doip-load", "Under load nothing is lost or changed", "common practice", loss, burst_text,
        "all the same to the bit", not_tried, bursts);
    Judged order = counts_[2].order;
    order.add(counts_[3].order);
    order.all = loss.all;
    row("doip-order", "Order is kept", "common practice", order, burst_text, "all in order",
        not_tried, bursts);
    Judged twice;
    for (std::size_t i = 0; i < 4; ++i)
        twice.add(counts_[i].twice);
    twice.all = counts_[0].whole.all + counts_[1].whole.all + loss.all;
    row("doip-twice", "Nothing arrives twice", "common practice", twice,
        how_many(twice.all, "message", "messages"), "none came twice", not_tried, bursts);
    write_functional(not_tried);
    row("doip-wrong-target", "A message to an ECU that there is not is refused (03)",
        "ISO 13400-2, negative acknowledgement codes; from memory", target_, "one message",
        "refused", not_tried, true);
    row("doip-wrong-source", "A message from another than the activated tester is refused (02)",
        "ISO 13400-2, negative acknowledgement codes; from memory", source_, "one message",
        "refused", not_tried, true);
    const std::string second = no_second_ ? "it takes no second connection" : not_tried;
    row("doip-alive", "A tester that is there twice: the first is asked, and keeps its place",
        "ISO 13400-2, alive check: code 03 for the second; from memory", alive_asked_,
        "a second connection", "asked; the second was refused", second, true);
    row("doip-alive-silent", "A tester that does not answer the alive check loses its place",
        "ISO 13400-2, alive check: 500 ms; from memory", alive_silent_, "a second connection",
        "the first was closed, the second activated",
        alive_asked_.all != 0 && !no_second_ ? "the first connection was gone before" : second,
        true);
    for (std::size_t i = 0; i < headers_.size(); ++i)
        row(headers_[i].id, headers_[i].title,
            "ISO 13400-2, generic header negative acknowledge; from memory", header_counts_[i],
            "one header", "refused", not_tried, true);
    Judged stream = stream_;
    stream.all = loss.all + counts_[0].whole.all + stream.wrong;
    row("doip-stream", "It sends nothing but what a tester is to be sent",
        "ISO 13400-2, payload types", stream, "a conversation", "nothing else", not_tried, known);
    if (refused_ != 0)
        report_.notes.push_back("Under load the entity refused " +
                                how_many(refused_, "message", "messages") +
                                " for want of memory, as it may; they are not judged.");
    const auto latency = [this](const char* name, const Latency& one) {
        if (one.total() != 0)
            report_.latencies.push_back({name, one});
    };
    latency("request to its acknowledgement", ack_latency_);
    latency("request to the far end", request_latency_);
    latency("answer of the far end to the tester", answer_latency_);
    latency("answer to a functional request", group_latency_);
}

} // namespace telltale::vet
