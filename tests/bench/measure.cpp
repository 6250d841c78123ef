// SPDX-License-Identifier: Apache-2.0
// usage: bench-measure [-i INPUT] [-o OUTPUT] RUNS COMMAND [ARGUMENT...]
// Runs a command so many times, after one run that does not count (unless it is the only one), and
// prints one line of four numbers: the median wall time and the median processor time in
// microseconds, the least wall time, and the most memory that any run held, in KiB (ru_maxrss, what
// GNU time calls maximum resident set size). Its input is INPUT or nothing, its output OUTPUT or
// nothing. Ends with the command's status if that is not 0.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string_view>
#include <vector>

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

namespace {

struct Run {
    int status = 0;
    long long microseconds = 0; ///< from start to end
    long long processor = 0;    ///< microseconds, user and system
    long memory = 0;
};

void redirect(const char* path, int flags, int descriptor) {
    const int opened = ::open(path, flags, 0666);
    if (opened < 0 || ::dup2(opened, descriptor) < 0)
        ::_exit(126);
    ::close(opened);
}

Run run(char** command, const char* input, const char* output) {
    const auto from = std::chrono::steady_clock::now();
    // vfork, so that the child does not begin with this program's memory on its account.
    const pid_t child = ::vfork(); // NOLINT
    if (child == 0) {
        redirect(input, O_RDONLY, STDIN_FILENO);
        redirect(output, O_WRONLY | O_CREAT | O_TRUNC, STDOUT_FILENO);
        redirect("/dev/null", O_WRONLY, STDERR_FILENO);
        ::execvp(command[0], command);
        ::_exit(127);
    }
    Run result;
    rusage usage{};
    int status = 0;
    if (child < 0 || ::wait4(child, &status, 0, &usage) != child) {
        result.status = 125;
        return result;
    }
    result.microseconds = std::chrono::duration_cast<std::chrono::microseconds>(
                              std::chrono::steady_clock::now() - from)
                              .count();
    const auto in_microseconds = [](const timeval& time) {
        return static_cast<long long>(time.tv_sec) * 1'000'000 + time.tv_usec;
    };
    result.processor = in_microseconds(usage.ru_utime) + in_microseconds(usage.ru_stime);
    result.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    result.memory = usage.ru_maxrss;
    return result;
}

} // namespace

int main(int argc, char** argv) {
    const char* input = "/dev/null";
    const char* output = "/dev/null";
    int at = 1;
    for (; at + 1 < argc && argv[at][0] == '-'; at += 2)
        (std::string_view(argv[at]) == "-i" ? input : output) = argv[at + 1];
    const int runs = at < argc ? std::atoi(argv[at]) : 0;
    if (runs < 1 || at + 1 >= argc) {
        std::fputs("usage: bench-measure [-i INPUT] [-o OUTPUT] RUNS COMMAND [ARGUMENT...]\n",
                   stderr);
        return 2;
    }
    std::vector<long long> times;
    std::vector<long long> processor;
    long memory = 0;
    for (int i = 0; i <= runs; ++i) {
        const Run result = run(argv + at + 1, input, output);
        if (result.status != 0) {
            std::fprintf(stderr, "bench-measure: %s ended with status %d\n", argv[at + 1],
                         result.status);
            return result.status;
        }
        if (i != 0 || runs == 1) {
            times.push_back(result.microseconds);
            processor.push_back(result.processor);
        }
        memory = std::max(memory, result.memory);
        if (runs == 1)
            break;
    }
    std::sort(times.begin(), times.end());
    std::sort(processor.begin(), processor.end());
    std::printf("%lld %lld %lld %ld\n", times[times.size() / 2], processor[processor.size() / 2],
                times.front(), memory);
    return 0;
}
