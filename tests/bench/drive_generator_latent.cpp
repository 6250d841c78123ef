// SPDX-License-Identifier: Apache-2.0
// Random systems with nothing of a vehicle in them: a few hidden drivers wander, jump or switch,
// and every signal is a random function of them with its own dynamics, noise and step. It keeps
// what was tuned on the invented vehicles honest.
#include <algorithm>
#include <cmath>
#include <string>

#include "drive_generator.hpp"

namespace bench {
namespace {

constexpr double dt = 0.05;

struct Driver {
    int kind = 0; ///< 0 wanders, 1 steps, 2 ramps, 3 two modes
    double time_constant = 5;
};

struct Shape {
    int kind = 0; ///< how it follows from the drivers
    std::size_t a = 0, b = 0, c = 0;
    double wa = 1, wb = 0, wc = 0, bias = 0;
    double time_constant = 0.1;
    double base = 0, size = 1; ///< range that the signal moves in
    double noise = 0.01;
    double step = 0.01;
    double restless = 0; ///< own wandering, which nothing predicts
};

std::vector<double> walk(Random& random, const Driver& driver, std::size_t n, double level) {
    std::vector<double> x(n);
    double y = level;
    double goal = level;
    double velocity = 0;
    double until = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const double t = static_cast<double>(i) * dt;
        if (t >= until) {
            until = t + random.uniform(0.5, 1.5) * driver.time_constant * 3;
            goal = driver.kind == 3 ? (random.chance(0.5) ? -1.0 : 1.0) : random.uniform(-1.5, 1.5);
        }
        switch (driver.kind) {
        case 0: {
            velocity += dt * (-velocity / (driver.time_constant * 0.3)) +
                        random.normal(1.2) * std::sqrt(dt) / driver.time_constant;
            y += dt * (velocity * 2 - y / (driver.time_constant * 4));
            break;
        }
        case 1:
            y += (goal - y) * dt / 0.3;
            break;
        case 2:
            y += std::clamp(goal - y, -1.0, 1.0) * dt / driver.time_constant;
            break;
        default:
            y += (goal - y) * dt / 0.15;
            break;
        }
        x[i] = std::clamp(y, -3.0, 3.0);
    }
    return x;
}

double shaped(const Shape& s, double a, double b, double c) {
    switch (s.kind) {
    case 0:
        return s.wa * a + s.wb * b + s.wc * c;
    case 1:
        return std::tanh(s.wa * a + s.wb * b + s.bias) + 0.3 * s.wc * c;
    case 2:
        return (2 + a) * (2 + b) * 0.3 + 0.3 * s.wc * c;
    case 3:
        return std::exp(0.5 * (s.wa * a + s.wb * b)) * 0.7;
    case 4:
        return (3 + a) / (4 + b);
    case 5:
        return std::max(0.0, s.wa * a + s.bias) + 0.5 * s.wb * b;
    case 6:
        return std::sqrt(3.5 + a) * (1 + 0.2 * s.wb * b);
    default:
        return 0; // only its own wandering
    }
}

} // namespace

World make_latent(Random& random, double seconds, std::size_t signals) {
    const std::size_t driver_count = 2 + random.below(4);
    std::vector<Driver> drivers(driver_count);
    for (Driver& driver : drivers) {
        driver.kind = static_cast<int>(random.below(4));
        driver.time_constant = std::exp(random.uniform(std::log(2.0), std::log(20.0)));
    }
    drivers[0].kind = 0;
    std::vector<Shape> shapes(signals);
    for (Shape& shape : shapes) {
        shape.kind = random.chance(0.08) ? 7 : static_cast<int>(random.below(7));
        shape.a = random.below(driver_count);
        shape.b = random.below(driver_count);
        shape.c = random.below(driver_count);
        shape.wa = random.chance(0.5) ? random.uniform(0.5, 1.2) : -random.uniform(0.5, 1.2);
        shape.wb = random.normal(0.6);
        shape.wc = random.chance(0.5) ? random.normal(0.4) : 0;
        shape.bias = random.normal(0.4);
        shape.time_constant =
            random.chance(0.25) ? random.uniform(0.3, 3) : random.uniform(0.02, 0.2);
        shape.size = std::exp(random.uniform(std::log(1.0), std::log(300.0)));
        shape.base = shape.size * random.uniform(2, 6);
        shape.noise = shape.size * std::exp(random.uniform(std::log(0.004), std::log(0.05)));
        shape.step = shape.size * std::exp(random.uniform(std::log(0.002), std::log(0.08)));
        shape.restless = shape.kind == 7 ? 0.5 : random.chance(0.15) ? 0.1 : 0;
    }
    const auto n = static_cast<std::size_t>(seconds / dt) + 1;
    World world;
    for (const bool is_bad : {false, true}) {
        Recording& recording = is_bad ? world.bad : world.good;
        recording.dt = dt;
        recording.about = "latent, " + std::to_string(driver_count) + " drivers";
        std::vector<std::vector<double>> x;
        for (const Driver& driver : drivers)
            x.push_back(walk(random, driver, n, random.normal(0.4)));
        for (std::size_t k = 0; k < signals; ++k) {
            const Shape& shape = shapes[k];
            Channel channel;
            channel.id = static_cast<std::uint16_t>(0x0200 + k); // no PID that means something
            channel.name = "Quantity " + std::to_string(k + 1);
            channel.step = shape.step;
            channel.low = 0;
            channel.high = shape.step * std::ceil((shape.base + 8 * shape.size) / shape.step);
            channel.noise = shape.noise;
            channel.grid.resize(n);
            const std::vector<double> own = walk(random, {0, 15}, n, 0);
            double y = 0;
            const double rate = 1 - std::exp(-dt / shape.time_constant);
            for (std::size_t i = 0; i < n; ++i) {
                const double goal = shaped(shape, x[shape.a][i], x[shape.b][i], x[shape.c][i]) +
                                    shape.restless * own[i];
                y = i == 0 ? goal : y + rate * (goal - y);
                channel.grid[i] = shape.base + shape.size * y;
            }
            recording.channels.push_back(std::move(channel));
        }
    }
    return world;
}

} // namespace bench
