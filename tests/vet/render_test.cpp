// SPDX-License-Identifier: Apache-2.0
// The forms of a report, held against programs and libraries that nobody here wrote: xmllint with a
// schema of JUnit XML's usual shape, nlohmann's JSON reader.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>

#include <nlohmann/json.hpp>
#include <sys/wait.h>
#include <unistd.h>

#include "telltale/vet/render.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

Report sample(bool hostile) {
    Report report;
    report.adapter = hostile ? "<b>A&\"'\x1B[31m\xFF\xEF\xBF\xBF</b>" : "Bench adapter 7";
    report.date = "2026-11-25 18:20:05 UTC";
    report.links = {{"slcan:/dev/ttyACM0@500k", "under test", "500 kbit/s, stamps of the system"},
                    {"can:vcan0", "reference", "500 kbit/s"}};
    report.versions = {{"telltale", "0.1.0"}, {"kernel", "6.1.0"}};
    report.seed = 7;
    report.duration = 61 * nanoseconds_a_second;
    Check check;
    check.id = "can-order";
    check.group = "load";
    check.title = "Order is kept in bursts back to back in both directions at once";
    check.sent = "20,000 frames back to back in both directions";
    check.came = "as sent";
    check.sent_count = 20'000;
    check.verdict = Verdict::passed;
    check.basis = "common practice";
    report.checks.push_back(check);
    check.id = "can-lost";
    check.title = "Every frame arrives";
    check.came = "3 frames are lost";
    check.wrong_count = 3;
    check.verdict = Verdict::failed;
    check.finding = hostile ? "]]>\x01 <script>alert(1)</script> & \xC2\x9B"
                              "2J"
                            : "3 frames are lost of 20,000";
    check.example({1'500'000'000, "18FF2003 A8 C7 E6", "", "lost"});
    check.example({no_time, "123 01", "123 02", "changed"});
    report.checks.push_back(check);
    Check other;
    other.id = "can-fd";
    other.group = "frames";
    other.title = "CAN FD lengths";
    other.finding = "the link has no CAN FD";
    other.basis = "ISO 11898-1";
    report.checks.push_back(other);
    NamedLatency latency{"slcan:/dev/ttyACM0@500k to can:vcan0", {}};
    for (int i = 0; i < 1'000; ++i)
        latency.latency.add(900'000 + i * 2'000);
    latency.latency.add(45'000'000);
    report.latencies.push_back(latency);
    report.notes = {"Vetted on a bench; no vehicle was on the line."};
    return report;
}

std::size_t widest(const std::string& text) {
    std::size_t most = 0;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);)
        most = std::max(
            most, static_cast<std::size_t>(std::count_if(line.begin(), line.end(), [](char c) {
                return (static_cast<unsigned char>(c) & 0xC0U) != 0x80;
            })));
    return most;
}

bool printable(const std::string& text) {
    for (const char c : text)
        if ((static_cast<unsigned char>(c) < 0x20 && c != '\n') || c == 0x7F)
            return false;
    return text.find("\xC2\x9B") == std::string::npos;
}

/// Exit status of a shell command.
int shell(const std::string& command) {
    const int status = std::system(command.c_str());
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/// What xmllint says of the text, held against our schema of JUnit XML.
int lint(const std::string& xml) {
    const std::string file = "/tmp/telltale-junit-" + std::to_string(getpid()) + ".xml";
    std::ofstream(file, std::ios::binary) << xml;
    const int status =
        shell("xmllint --noout --nonet --schema " TELLTALE_SOURCE_DIR "/tests/vet/junit.xsd " +
              file + " 2>/dev/null");
    std::remove(file.c_str());
    return status;
}

} // namespace

TEST_CASE("a report of what was broken off says so, and is not sound") {
    Report report = sample(false);
    report.checks.erase(report.checks.begin() + 1); // the one that failed
    CHECK(report_text(report).find("SOUND") != std::string::npos);
    report.broken_off = "The reference went away.";
    for (const std::string& text : {report_text(report), report_page(report)}) {
        CHECK(text.find("SOUND") == std::string::npos);
        CHECK(text.find("NOT TESTED TO THE END") != std::string::npos);
        CHECK(text.find("The reference went away.") != std::string::npos);
    }
    const std::string json = report_json(report);
    CHECK(json.find("\"verdict\":\"untested\"") != std::string::npos);
    CHECK(json.find("\"broken_off\":\"The reference went away.\"") != std::string::npos);
    const std::string xml = report_junit(report);
    CHECK(lint(xml) == 0);
    CHECK(xml.find("tests=\"3\" failures=\"0\" errors=\"1\" skipped=\"1\" time=\"61.000\">") !=
          std::string::npos);
    CHECK(xml.find("<error message=\"The reference went away.\" type=\"broken-off\">") !=
          std::string::npos);
}

TEST_CASE("a report is no success as JUnit XML unless it is sound") {
    const auto errors = [](const Report& report) {
        const std::string xml = report_junit(report);
        CHECK(lint(xml) == 0);
        const std::string all = xml.substr(0, xml.find("<testsuite "));
        const bool counted = all.find(" errors=\"1\"") != std::string::npos;
        CHECK(counted == (xml.find("<error ") != std::string::npos));
        return counted;
    };
    Report report = sample(false);
    CHECK_FALSE(errors(report)); // it has failures
    report.broken_off = "It was broken off.";
    CHECK(errors(report)); // and more might have failed
    report = sample(false);
    report.checks.erase(report.checks.begin() + 1);
    CHECK_FALSE(errors(report));
    report.checks.erase(report.checks.begin());
    CHECK(errors(report));
    CHECK(report_junit(report).find("<error message=\"Nothing could be tested.\" "
                                    "type=\"nothing-tested\">") != std::string::npos);
    CHECK(errors({}));
}

TEST_CASE("a report as text") {
    for (const std::size_t width : {32U, 40U, 59U, 60U, 80U, 120U})
        for (const bool hostile : {false, true}) {
            CAPTURE(width);
            const std::string text = report_text(sample(hostile), {width});
            CHECK(widest(text) <= width);
            CHECK(printable(text));
            CHECK(text.find("FOUND WANTING") != std::string::npos);
            CHECK(text.find("untested") != std::string::npos);
        }
    const std::string text = report_text(sample(false));
    for (const char* words :
         {"Adapter     Bench adapter 7\n",
          "Date        2026-11-25 18:20:05 UTC, took 61 s, seed 7\n",
          "1 passed, 1 failed, 1 untested: what is wrong stands below.\n",
          "- Every frame arrives: 3 frames are lost of 20,000\n",
          "         - lost: sent 18FF2003 A8 C7 E6 (at 1.500000 s)\n",
          "         - changed: sent 123 01; came 123 02\n", "         the link has no CAN FD\n",
          "Latency slcan:/dev/ttyACM0@500k to can:vcan0\n"}) {
        CAPTURE(words);
        CHECK(text.find(words) != std::string::npos);
    }
    CHECK(text.find('\x1B') == std::string::npos);
    CHECK(report_text(sample(true), {80, true}).find("\x1B[1;31mfailed\x1B[0m") !=
          std::string::npos);
}

TEST_CASE("a histogram in characters") {
    const std::string text = histogram_text(sample(false).latencies[0], 60);
    CHECK(text == "Latency slcan:/dev/ttyACM0@500k to can:vcan0\n"
                  "1,001 measured: least 900 us, half within 2 ms, 99 % within\n"
                  "3 ms, greatest 45 ms\n"
                  "700 us to 1 ms   50 ####\n"
                  "1 ms to 1.5 ms  250 #####################\n"
                  "1.5 ms to 2 ms  250 #####################\n"
                  "  2 ms to 3 ms  450 #######################################\n"
                  "  3 ms to 5 ms    0\n"
                  "  5 ms to 7 ms    0\n"
                  " 7 ms to 10 ms    0\n"
                  "10 ms to 15 ms    0\n"
                  "15 ms to 20 ms    0\n"
                  "20 ms to 30 ms    0\n"
                  "30 ms to 50 ms    1 #\n");
    CHECK(histogram_text({"x", {}}) == "Latency x\nnone measured\n");
}

TEST_CASE("a report as JSON") {
    for (const bool hostile : {false, true}) {
        const Report report = sample(hostile);
        const auto json = nlohmann::json::parse(report_json(report));
        CHECK(json.at("verdict") == "failed");
        CHECK(json.at("passed") == 1);
        CHECK(json.at("failed") == 1);
        CHECK(json.at("untested") == 1);
        CHECK(json.at("seconds") == 61.0);
        CHECK(json.at("links").size() == 2);
        CHECK(json.at("checks")[1].at("judged") == 20'000);
        CHECK(json.at("checks")[1].at("wrong") == 3);
        CHECK(json.at("checks")[1].at("examples")[1].at("time").is_null());
        CHECK(json.at("checks")[1].at("examples")[0].at("time") == 1.5);
        CHECK(json.at("checks")[2].at("sent").is_null());
        std::uint64_t all = 0;
        for (const auto& bucket : json.at("latencies")[0].at("buckets"))
            all += bucket.at("count").get<std::uint64_t>();
        CHECK(all == 1'001);
    }
}

TEST_CASE("a report as JUnit XML") {
    CHECK(lint(report_junit(sample(false))) == 0);
    CHECK(lint(report_junit(sample(true))) == 0);
    Report empty;
    CHECK(lint(report_junit(empty)) == 0);
    // The schema can say no.
    std::string wrong = report_junit(sample(false));
    wrong.replace(wrong.find("<skipped"), 8, "<skopped");
    CHECK(lint(wrong) != 0);
    const std::string xml = report_junit(sample(false));
    CHECK(xml.find("<testsuites name=\"telltale vet\" tests=\"3\" failures=\"1\" errors=\"0\" "
                   "skipped=\"1\" time=\"61.000\">") != std::string::npos);
    CHECK(xml.find("timestamp=\"2026-11-25T18:20:05\"") != std::string::npos);
    CHECK(xml.find("<failure message=\"3 frames are lost of 20,000\" type=\"can-lost\">") !=
          std::string::npos);
}

TEST_CASE("a report as a page") {
    const std::string page = report_page(sample(true));
    CHECK(page.find("<script") == std::string::npos);
    CHECK(page.find("<b>A") == std::string::npos);
    CHECK(page.find("&lt;script&gt;alert(1)") != std::string::npos);
    CHECK(printable(page));
    CHECK(page.find("<svg ") != std::string::npos);
    for (const char* outside : {"http://", "https://", "src=", "url("})
        CHECK(page.find(outside) == std::string::npos);
    if (const char* folder = std::getenv("TELLTALE_PAGES"); folder != nullptr) {
        std::ofstream(std::string(folder) + "/vet.html") << report_page(sample(false));
        std::ofstream(std::string(folder) + "/vet.txt") << report_text(sample(false));
    }
}
